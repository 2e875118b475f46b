"""The plates of a rig sheet, one a file: each takes the sheet's content and returns a drawing or a table."""
