"""Rotations, rigid frames and planes: the same functions over numbers, NumPy arrays and symbols."""
