"""Bytes to and from a character: the only place that knows a file's indices."""

from instep.formats.clips import write_clips, write_pose, write_poses_as_clip
from instep.formats.fresh import write_character
from instep.formats.reader import read_character, read_clips
from instep.formats.survey import FileSurvey, survey_file
from instep.formats.whole import write_whole

__all__ = [
    "FileSurvey",
    "read_character",
    "read_clips",
    "survey_file",
    "write_character",
    "write_clips",
    "write_pose",
    "write_poses_as_clip",
    "write_whole",
]
