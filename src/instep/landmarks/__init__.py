"""Feet and legs, measured from joints, skin weights and shape. One measurement a file."""

from instep.landmarks.model import Landmark, LegLandmarks, Measurement

__all__ = ["Landmark", "LegLandmarks", "Measurement"]
