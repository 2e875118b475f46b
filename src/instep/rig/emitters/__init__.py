"""Programs in a language: one language a file, each a small table of how it writes an operation."""
