"""Instep: leg-and-foot rigs for animators, measured from a skinned character and proven."""

__version__ = "0.1.0"
