"""What leaves the house: the rig sheet, drawings in ink."""

from instep.delivery.content import ChannelRow, ControlDrawing, LegRoll, SheetContent
from instep.delivery.figure import draw_cast, draw_figure
from instep.delivery.page import render_sheet, write_sheet

__all__ = [
    "ChannelRow",
    "ControlDrawing",
    "LegRoll",
    "SheetContent",
    "draw_cast",
    "draw_figure",
    "render_sheet",
    "write_sheet",
]
