"""Motion on rigs: exercises made by channels alone."""

from instep.motion.exercises import Exercise, exercises

__all__ = ["Exercise", "exercises"]
