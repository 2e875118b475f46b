"""What server and page say to one another: typed here, once. `bench/typescript.py` writes the page's types from it.

Lengths are in the character's own unit, angles in degrees, times in seconds. Every message has a `kind`. Longer than
most files here, so that there is one place to read all that is said; it is declarations alone.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, TypeAdapter

Point: TypeAlias = tuple[FiniteFloat, FiniteFloat, FiniteFloat]
Name: TypeAlias = Annotated[str, Field(min_length=1, max_length=200)]
Values: TypeAlias = dict[Name, FiniteFloat]


class Message(BaseModel):
    """Frozen, and without fields that nobody has named."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Key(Message):
    """Where one control is at one time of a score: channel values by quantity ("roll")."""

    time_s: Annotated[FiniteFloat, Field(ge=0.0, le=3600.0)]
    values: Values


class Score(Message):
    """A motion written with keys: by control, in order of time. Between keys a channel eases by 3u² - 2u³."""

    name: Name
    rate: Annotated[FiniteFloat, Field(ge=1.0, le=240.0)] = 30.0
    duration_s: Annotated[FiniteFloat, Field(gt=0.0, le=3600.0)] = 2.0
    keys: dict[Name, tuple[Key, ...]] = Field(default_factory=dict)


class LegOptions(Message):
    """How one leg is built: what the rig file says under `options`."""

    soft: Annotated[FiniteFloat, Field(ge=0.0, le=0.5)]
    stretch_limit: Annotated[FiniteFloat, Field(ge=1.001, le=4.0)]
    settle_deg: Annotated[FiniteFloat, Field(ge=0.1, le=20.0)]


# What the page asks for. `ask` is the page's own number for it; the answer and any fault carry it back.


class SetPose(Message):
    """The pose is now these values; channels that are not named are at rest."""

    kind: Literal["set_pose"] = "set_pose"
    ask: int = 0
    what: Name
    pose: Values


class SetLandmark(Message):
    """A landmark ("left.heel") stands here; None: where it is measured."""

    kind: Literal["set_landmark"] = "set_landmark"
    ask: int = 0
    name: Name
    point: Point | None


class SetTuned(Message):
    """A tuned number of one leg, set by hand; None: as solved."""

    kind: Literal["set_tuned"] = "set_tuned"
    ask: int = 0
    leg: Name
    number: Literal["hold", "ball_gives_out_deg", "tip_takes_over_deg"]
    value: FiniteFloat | None


class Build(Message):
    """Build with these choices. With `try_only` nothing is changed: the answer says what would."""

    kind: Literal["build"] = "build"
    ask: int = 0
    controls: Literal["essential", "full"]
    plain: bool
    options: dict[Name, LegOptions]
    try_only: bool = False


class Undo(Message):
    """Take back the last change, or bring back the last one that was taken back."""

    kind: Literal["undo"] = "undo"
    ask: int = 0
    again: bool = False


class KeepPose(Message):
    """Keep the pose as it is under this name."""

    kind: Literal["keep_pose"] = "keep_pose"
    ask: int = 0
    name: Name


class DropPose(Message):
    """Forget a kept pose."""

    kind: Literal["drop_pose"] = "drop_pose"
    ask: int = 0
    name: Name


class Mirror(Message):
    """Give the other side the values of `leg`'s side; with `swap` both change places."""

    kind: Literal["mirror"] = "mirror"
    ask: int = 0
    leg: Name
    swap: bool = False


class Match(Message):
    """Change how a leg is posed without moving it: by its joints, by its foot, or with its foot in a space."""

    kind: Literal["match"] = "match"
    ask: int = 0
    leg: Name
    to: Literal["joints", "foot", "space"]
    space: str = ""


class Prove(Message):
    """Run the checks: all, or those named."""

    kind: Literal["prove"] = "prove"
    ask: int = 0
    only: tuple[Name, ...] = ()


class Cure(Message):
    """Make the edit of the rig file that a finding's cure means."""

    kind: Literal["cure"] = "cure"
    ask: int = 0
    check: Name
    number: Annotated[int, Field(ge=0)]


class SetScore(Message):
    """The score is now this."""

    kind: Literal["set_score"] = "set_score"
    ask: int = 0
    what: Name
    score: Score


class TakeExercise(Message):
    """Make a score of an exercise."""

    kind: Literal["take_exercise"] = "take_exercise"
    ask: int = 0
    name: Name


class HandOver(Message):
    """Write what `instep rig` writes into a folder, seen from the rig file's own."""

    kind: Literal["hand_over"] = "hand_over"
    ask: int = 0
    folder: Name


class Outside(Message):
    """The rig file was changed outside: take what is in it, or write this project's own over it."""

    kind: Literal["outside"] = "outside"
    ask: int = 0
    take: bool


class Open(Message):
    """Open one of the folder's files."""

    kind: Literal["open"] = "open"
    ask: int = 0
    name: Name


Ask: TypeAlias = Annotated[
    SetPose
    | SetLandmark
    | SetTuned
    | Build
    | Undo
    | KeepPose
    | DropPose
    | Mirror
    | Match
    | Prove
    | Cure
    | SetScore
    | TakeExercise
    | HandOver
    | Outside
    | Open,
    Field(discriminator="kind"),
]
"""Anything that the page may ask for."""

ASK: Final[TypeAdapter[Ask]] = TypeAdapter(Ask)

# What the server says.


class StepState(Message):
    """One of the six steps: its state, and in a few words how many, or since when."""

    name: Literal["measure", "build", "pose", "prove", "move", "hand over"]
    state: Literal["done", "stale", "falls short", "not yet", "working"]
    words: str


class Difference(Message):
    """One thing in which the rig file on disk differs from what is open here."""

    name: str
    mine: str
    theirs: str


class OutsideChange(Message):
    """What was found in the rig file; `fault` where it cannot be read."""

    seen_at: str
    differences: tuple[Difference, ...]
    fault: str = ""


class CureOffer(Message):
    """A cure, in a sentence; `can_be_made` where it is an edit of the rig file."""

    sentence: str
    reaches: str
    can_be_made: bool


class Finding(Message):
    """One check's finding, in words and figures."""

    check: str
    claim: str
    verdict: Literal["holds", "falls short", "advice", "does not apply"]
    what: str
    figure: str
    allowance: str
    use: float
    leg: str
    place: str
    pose: Values
    curve_x: tuple[float, ...]
    curve_y: tuple[float, ...]
    curve_words: str
    curve_allowance: float | None
    notes: tuple[str, ...]
    cause: str
    cures: tuple[CureOffer, ...]


class Proof(Message):
    """What was proven, at which revision of the rig; `running` says what is looked at now."""

    rig_revision: int
    running: str
    findings: tuple[Finding, ...]


class Bearing(Message):
    """A stretch of time in which a part of a sole bears on the floor, and how far it slides in that time."""

    part: Literal["heel", "ball", "tip"]
    start_s: float
    end_s: float
    slides: float


class Footfall(Message):
    """One foot's staff of the score."""

    leg: str
    bearings: tuple[Bearing, ...]


class Written(Message):
    """A file that was handed over."""

    file: str
    what: str


class State(Message):
    """All of a project but its meshes and programs, which are fetched by `rig_revision`."""

    kind: Literal["state"] = "state"
    revision: int
    character: str
    rig_file: str
    written_at: str
    rig_revision: int
    files: tuple[str, ...]
    steps: tuple[StepState, ...]
    controls: Literal["essential", "full"]
    plain: bool
    options: dict[str, LegOptions]
    pose: Values
    poses: dict[str, Values]
    undo: str
    undo_count: int
    redo: str
    by_hand: tuple[str, ...]
    outside: OutsideChange | None
    proof: Proof | None
    score: Score | None
    footfalls: tuple[Footfall, ...]
    exercises: tuple[str, ...]
    handed_over: tuple[Written, ...]


class Done(Message):
    """An ask was carried out; `told` is a sentence for the person, where there is something to say."""

    kind: Literal["done"] = "done"
    ask: int
    told: tuple[str, ...] = ()


class Fault(Message):
    """An ask was refused; nothing has been changed."""

    kind: Literal["fault"] = "fault"
    ask: int
    seen: str
    where: str
    expected: str
    cure: str


Told: TypeAlias = Annotated[State | Done | Fault, Field(discriminator="kind")]
"""Anything that the server may say."""

TOLD: Final[TypeAdapter[Told]] = TypeAdapter(Told)


# What is fetched: the rig as it is to be drawn.


class ChannelInfo(Message):
    """A channel, as `instep.rig.channels.Channel` has it."""

    name: str
    control: str
    quantity: str
    unit: Literal["deg", "length", "share"]
    low: float
    high: float
    default: float
    sentence: str


class DriverInfo(Message):
    """Something that the program places: `point` stands at the outputs' place."""

    name: str
    point: Point


class JointInfo(Message):
    """A joint of the character and the driver that carries it."""

    name: str
    follows: int
    bind: Point


class ShapeInfo(Message):
    """What an animator grabs, in the bind pose; each polyline is a list of points."""

    control: str
    side: Literal["left", "right", "middle"]
    shape: Literal["outline", "section", "mark"]
    polylines: tuple[tuple[Point, ...], ...]


class LandmarkInfo(Message):
    """A landmark with how sure it is, and how many vertices it was seen from."""

    name: str
    position: Point
    measured: Point | None
    confidence: float
    source: str
    by_hand: bool
    evidence: tuple[Point, ...]


class LegInfo(Message):
    """One leg with its foot, by numbers of the mesh's faces and vertices: `sole_faces` are those of the map, `vertices`
    the foot's, `drawn` those of its picture, which ends on the shin."""

    name: str
    side: Literal["left", "right"]
    landmarks: tuple[LandmarkInfo, ...]
    sole_normal: Point
    axis: Point
    foot_length: float
    breadth: float
    heel_height: float
    outline: tuple[Point, ...]
    sole_faces: tuple[int, ...]
    vertices: tuple[int, ...]
    drawn: tuple[int, ...]
    has_toes: bool
    hold: float
    ball_gives_out_deg: float
    tip_takes_over_deg: float
    hold_by_hand: bool
    ball_by_hand: bool
    tip_by_hand: bool


class PartInfo(Message):
    """One piece of the mesh: its vertices' first number and how many."""

    name: str
    first: int
    count: int


class RigInfo(Message):
    """The rig as the page draws it."""

    rig_revision: int
    mesh_revision: int
    channels: tuple[ChannelInfo, ...]
    drivers: tuple[DriverInfo, ...]
    joints: tuple[JointInfo, ...]
    shapes: tuple[ShapeInfo, ...]
    legs: tuple[LegInfo, ...]
    parts: tuple[PartInfo, ...]
    left: Point
    up: Point
    forward: Point
    floor: float
    leg_length: float
    height: float
    mm: bool
    touches: float
    remarks: tuple[str, ...]
