"""Feet and legs, measured from joints, skin weights and shape. One measurement a file."""

from instep.landmarks.measure import measure
from instep.landmarks.model import LANDMARK_NAMES, Landmark, LegLandmarks, Measurement

__all__ = ["LANDMARK_NAMES", "Landmark", "LegLandmarks", "Measurement", "measure"]
