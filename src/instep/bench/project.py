"""One opened project: its rig file, its rig, its journal, and what a person can do to them.

Every method either does all that it is asked and has written it, or raises an InstepError and has changed nothing.
Longer than most files here: all that can be asked changes the same rig file and journal, in one order that must be
seen in one place.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from instep.bench import messages as m
from instep.bench.building import Builder, differences, edited, text_of
from instep.bench.journal import Journal, read_journal
from instep.bench.posing import matched, mirrored
from instep.bench.proving import told_finding
from instep.bench.score import footfalls, score_clip, score_of_exercise
from instep.character import Character
from instep.checks.model import Cure, Report
from instep.delivery.job import RIG_FILE, character_name, is_rig_file, rig_job
from instep.delivery.lengths import lengths_for
from instep.errors import ChannelError, InstepError, OutputError, RigFileError
from instep.formats import read_character, write_clips, write_whole
from instep.landmarks import Measurement
from instep.motion import exercises
from instep.rig import Rig, RigDescription
from instep.rig.channels import check_range
from instep.rig.description import LegOptions
from instep.rig.file import character_path, read_described_character, read_rig_file, rig_file_text

JOURNAL: Final = ".rig.journal"

OPENED_OUTSIDE: Final = "changed outside while the bench was closed"


@dataclass(eq=False)
class Project:
    """Made by `open_project`. `revision` grows with each change of anything, `rig_revision` with each of the rig."""

    rig_file: Path
    builder: Builder
    journal: Journal
    rig: Rig
    on_disk: bytes
    revision: int = 1
    rig_revision: int = 1
    handed_over_at: tuple[int, str] | None = None
    handed_over: tuple[m.Written, ...] = ()
    outside: m.OutsideChange | None = None
    theirs: RigDescription | None = None
    proof: m.Proof | None = None
    cures: dict[str, tuple[Cure, ...]] = field(default_factory=dict)
    falls: tuple[m.Footfall, ...] = ()
    written_at: str = ""

    # What is open.

    @property
    def description(self) -> RigDescription:
        """What the rig file says, as this project has it."""
        return RigDescription.model_validate(self.journal.sheet["description"])

    @property
    def pose(self) -> dict[str, float]:
        """Channels that are not at rest, among those that the rig has."""
        return self._known(self.journal.sheet["pose"])

    @property
    def score(self) -> m.Score | None:
        """The score, where there is one."""
        data = self.journal.sheet["score"]
        return None if data is None else m.Score.model_validate(data)

    def unaided(self) -> Measurement:
        """What is measured where nothing is set by hand."""
        return self.builder.measure(RigDescription(character=self.description.character))

    def _known(self, pose: dict[str, float]) -> dict[str, float]:
        """Those of a pose's values that this rig can take, inside the ranges that it has now."""
        channels = {channel.name: channel for channel in self.rig.channels}
        return {
            name: min(max(float(value), channels[name].low), channels[name].high)
            for name, value in pose.items()
            if name in channels
        }

    # What is asked for.

    def do(self, ask: m.Ask) -> tuple[str, ...]:
        """Carry out what the page asks for; returns what to tell. Raises InstepError."""
        action: Callable[[Any], tuple[str, ...]] = getattr(self, f"_{ask.kind}")
        told = action(ask)
        self.revision += 1
        return told

    def _set_pose(self, ask: m.SetPose) -> tuple[str, ...]:
        channels = {channel.name: channel for channel in self.rig.channels}
        for name, value in ask.pose.items():
            check_range(self.rig.channels[self.rig.channel(name)], value)
        pose = {name: value for name, value in ask.pose.items() if value != channels[name].default}
        if pose != self.journal.sheet["pose"]:
            self.journal.change(ask.what, {"pose": pose})
        return ()

    def _set_landmark(self, ask: m.SetLandmark) -> tuple[str, ...]:
        landmarks = dict(self.description.by_hand.landmarks)
        if ask.point is None:
            landmarks.pop(ask.name, None)
        else:
            landmarks[ask.name] = ask.point
        hand = self.description.by_hand.model_copy(update={"landmarks": landmarks})
        before = self.rig.measurement
        what = f"{ask.name} {'as measured' if ask.point is None else 'by hand'}"
        self._redescribe(what, self.description.model_copy(update={"by_hand": hand}), solve=True)
        moved = []
        lengths = lengths_for(self._height())
        for old, new in zip(before.legs, self.rig.measurement.legs, strict=True):
            if abs(new.foot_length - old.foot_length) * lengths.factor >= 0.5 * 10.0**-lengths.decimals:
                moved.append(f"{new.name} foot: length {lengths.text(new.foot_length)}")
        return tuple(moved)

    def _set_tuned(self, ask: m.SetTuned) -> tuple[str, ...]:
        if ask.leg not in {leg.name for leg in self.rig.plan.legs}:
            raise ChannelError(f'"{ask.leg}" is no leg of this rig')
        changed = edited(self.description, ("by_hand", "tuned", ask.leg, ask.number), ask.value)
        self._redescribe(f"{ask.leg} {ask.number}", changed, solve=True)
        return ()

    def _build(self, ask: m.Build) -> tuple[str, ...]:
        options = dict(self.description.options)
        for leg, chosen in ask.options.items():
            options[leg] = options.get(leg, LegOptions()).model_copy(update=chosen.model_dump())
        wanted = self.description.model_copy(update={"controls": ask.controls, "plain": ask.plain, "options": options})
        told = self._build_changes(self.builder.build(wanted))
        if not ask.try_only:
            self._redescribe("build", wanted, solve=True)
        return told

    def _build_changes(self, rig: Rig) -> tuple[str, ...]:
        """What would be other with this rig, in sentences."""
        old, new = ([channel.name for channel in one.channels] for one in (self.rig, rig))
        added, gone = [name for name in new if name not in old], [name for name in old if name not in new]
        told = []
        if added:
            told.append(f"{len(added)} channels more: {_some(added)}")
        if gone:
            told.append(f"{len(gone)} channels fewer: {_some(gone)}")
            lost = sorted(set(self.journal.sheet["pose"]) & set(gone))
            if lost:
                told.append(f"the pose would no longer use {_some(lost)}")
        for one, other in zip(self.rig.plan.legs, rig.plan.legs, strict=False):
            for what in ("soft", "stretch_limit", "settle_deg", "hold"):
                before, after = getattr(one, what), getattr(other, what)
                if abs(before - after) > 1e-9:
                    told.append(
                        f"{one.name} {what.removesuffix('_deg').replace('_', ' ')}: {before:.3g} to {after:.3g}"
                    )
        return tuple(told or ["Nothing would change."])

    def _undo(self, ask: m.Undo) -> tuple[str, ...]:
        stack = self.journal.undone if ask.again else self.journal.done
        if not stack:
            return (f"Nothing to {'do again' if ask.again else 'undo'}.",)
        change = stack[-1]
        entries = change.now if ask.again else change.was
        step = self.journal.redo if ask.again else self.journal.undo
        if "description" in entries:
            self._write_description(RigDescription.model_validate(entries["description"]), step)
        else:
            step()
        self._hear_score()
        return ()

    def _keep_pose(self, ask: m.KeepPose) -> tuple[str, ...]:
        poses = dict(self.journal.sheet["poses"]) | {ask.name: self.pose}
        self.journal.change(f"keep the pose {ask.name}", {"poses": poses})
        return ()

    def _drop_pose(self, ask: m.DropPose) -> tuple[str, ...]:
        poses = {name: pose for name, pose in self.journal.sheet["poses"].items() if name != ask.name}
        self.journal.change(f"forget the pose {ask.name}", {"poses": poses})
        return ()

    def _mirror(self, ask: m.Mirror) -> tuple[str, ...]:
        pose = mirrored(self.rig, self.pose, ask.leg, swap=ask.swap)
        self.journal.change("swap sides" if ask.swap else f"mirror {ask.leg}", {"pose": self._known(pose)})
        return ()

    def _match(self, ask: m.Match) -> tuple[str, ...]:
        pose, told = matched(self.rig, self.pose, ask.leg, ask.to, ask.space)
        self.journal.change(f"{ask.leg} by {ask.space or ask.to}", {"pose": self._known(pose)})
        return told

    def _cure(self, ask: m.Cure) -> tuple[str, ...]:
        cures = self.cures.get(ask.check, ())
        edits = cures[ask.number].edits if ask.number < len(cures) else ()
        if not edits:
            raise RigFileError(f"{ask.check} has no such cure", cure="Prove again and choose one that is offered")
        description = self.description
        for edit in edits:
            description = edited(description, edit.keys, edit.value)
        self._redescribe(f"cure of {ask.check}", description, solve=True)
        return (cures[ask.number].sentence,)

    def _set_score(self, ask: m.SetScore) -> tuple[str, ...]:
        self.journal.change(ask.what, {"score": ask.score.model_dump(mode="json")})
        self._hear_score()
        return ()

    def _take_exercise(self, ask: m.TakeExercise) -> tuple[str, ...]:
        for exercise in exercises(self.rig):
            if exercise.name == ask.name:
                score = score_of_exercise(self.rig, exercise)
                self.journal.change(f"exercise {ask.name}", {"score": score.model_dump(mode="json")})
                self._hear_score()
                return (exercise.sentence,)
        raise ChannelError(f'"{ask.name}" is no exercise of this rig')

    def _hand_over(self, ask: m.HandOver) -> tuple[str, ...]:
        root = self.rig_file.parent.resolve()
        folder = (root / ask.folder).resolve()
        if not folder.is_relative_to(root):
            raise OutputError(
                f'"{ask.folder}" leads out of the folder of the rig file',
                expected="a folder inside it, such as out",
                cure="Name another folder; for a place elsewhere use instep rig on the command line",
            )
        result = rig_job(self.rig_file, folder)
        made = [
            m.Written(file=self._seen(result.rig_file), what="the rig file"),
            m.Written(file=self._seen(result.built), what="the rig in its built form, for programs"),
            m.Written(file=self._seen(result.model), what=f"the character with {len(result.exercises)} exercise clips"),
            m.Written(file=self._seen(result.sheet), what="the rig sheet"),
        ]
        if self.score is not None:
            target = folder / f"{character_name(self.rig_file)}.score.glb"
            write_clips(self.rig.character.source, target, [score_clip(self.rig, self.score)])
            made.append(m.Written(file=self._seen(target), what=f"the character with the clip {self.score.name}"))
        self.handed_over = tuple(made)
        self.handed_over_at = (self.rig_revision, _now())
        if folder == root:
            self.on_disk = self.rig_file.read_bytes()
        return ()

    def _outside(self, ask: m.Outside) -> tuple[str, ...]:
        if self.outside is None:
            return ()
        if ask.take:
            theirs = read_rig_file(self.rig_file)
            now = self.rig_file.read_bytes()
            rig = self.builder.build(theirs)
            self.journal.change("taken from the rig file", {"description": theirs.model_dump(mode="json")})
            self._take_rig(rig, now)
        else:
            text = rig_file_text(self.description, None if self.outside.fault else self.rig_file).encode()
            write_whole(self.rig_file, text)
            self.on_disk, self.written_at = text, _now()
        self.outside = self.theirs = None
        return ()

    # The rig file.

    def _redescribe(self, what: str, description: RigDescription, *, solve: bool) -> None:
        """Write a changed description: the rig is built first, the file comes next, the journal last."""
        if solve:
            description = self.builder.solve(description)
        data = description.model_dump(mode="json")
        self._write_description(description, lambda: self.journal.change(what, {"description": data}))
        self._hear_score()

    def _write_description(self, description: RigDescription, then: Callable[[], object]) -> None:
        if self.outside is not None:
            raise RigFileError(
                "the rig file was changed outside",
                where=self.rig_file.name,
                cure="Take theirs or keep mine first; nothing has been written",
            )
        rig = self.builder.build(description)
        if self._disk() != self.on_disk:
            self.look_outside()
            raise RigFileError(
                "the rig file was changed outside just now",
                where=self.rig_file.name,
                cure="Take theirs or keep mine first; nothing has been written",
            )
        text = rig_file_text(description, self.rig_file if self.rig_file.exists() else None).encode()
        write_whole(self.rig_file, text)
        try:
            then()
        except InstepError:
            write_whole(self.rig_file, self.on_disk)
            raise
        self._take_rig(rig, text)

    def _take_rig(self, rig: Rig, text: bytes) -> None:
        self.rig, self.on_disk, self.written_at = rig, text, _now()
        self.rig_revision += 1

    def _disk(self) -> bytes:
        try:
            return self.rig_file.read_bytes()
        except OSError:
            return b""

    def look_outside(self) -> bool:
        """Whether the rig file has been changed by another program since it was last looked at; then `outside` says
        how."""
        now = self._disk()
        if now == self.on_disk:
            return False
        self.on_disk = now
        try:
            theirs = read_rig_file(self.rig_file)
        except InstepError as error:
            self.outside = m.OutsideChange(seen_at=_now(), differences=(), fault=str(error))
            self.theirs = None
        else:
            found = differences(self.description, theirs)
            self.theirs = theirs if found else None
            self.outside = (
                m.OutsideChange(
                    seen_at=_now(),
                    differences=tuple(m.Difference(name=name, mine=mine, theirs=other) for name, mine, other in found),
                )
                if found
                else None
            )
        self.revision += 1
        return True

    # What is told.

    def take_report(self, report: Report | None, rig_revision: int, running: str) -> None:
        """What the checks have found, or that they are running."""
        findings = self.proof.findings if self.proof else ()
        if report is not None:
            lengths = lengths_for(self._height())
            told = {finding.check: told_finding(finding, lengths) for finding in report.findings}
            kept = [told.pop(finding.check, finding) for finding in findings]
            findings = (*kept, *told.values())
            self.cures |= {finding.check: finding.cures for finding in report.findings}
        self.proof = m.Proof(rig_revision=rig_revision, running=running, findings=findings)
        self.revision += 1

    def _hear_score(self) -> None:
        self.falls = () if self.score is None else footfalls(self.rig, self.score)

    def _height(self) -> float:
        mesh = self.rig.character.mesh
        assert mesh is not None
        along = mesh.positions @ self.rig.measurement.R_world_body[:, 1]
        return float(along.max() - along.min())

    def _seen(self, path: Path) -> str:
        return path.relative_to(self.rig_file.parent.resolve()).as_posix()

    def state(self, files: tuple[str, ...] = ()) -> m.State:
        """All that the page shows."""
        sheet, description = self.journal.sheet, self.description
        defaults = {leg.name: description.options.get(leg.name, LegOptions()) for leg in self.rig.measurement.legs}
        return m.State(
            revision=self.revision,
            character=character_name(self.rig_file),
            rig_file=self.rig_file.name,
            written_at=self.written_at,
            rig_revision=self.rig_revision,
            files=files,
            steps=self._steps(),
            controls=description.controls,
            plain=description.plain,
            options={
                name: m.LegOptions(
                    soft=options.soft, stretch_limit=options.stretch_limit, settle_deg=options.settle_deg
                )
                for name, options in defaults.items()
            },
            pose=self.pose,
            poses={name: self._known(pose) for name, pose in sheet["poses"].items()},
            undo=self.journal.done[-1].what if self.journal.done else "",
            undo_count=len(self.journal.done),
            redo=self.journal.undone[-1].what if self.journal.undone else "",
            by_hand=tuple(description.by_hand.landmarks),
            outside=self.outside,
            proof=self.proof,
            score=self.score,
            footfalls=self.falls,
            exercises=tuple(exercise.name for exercise in exercises(self.rig)),
            handed_over=self.handed_over,
        )

    def _steps(self) -> tuple[m.StepState, ...]:
        legs = self.rig.measurement.legs
        marks = [mark for leg in legs for mark in leg.landmarks.values()]
        hand = sum(mark.by_hand for mark in marks)
        poses = len(self.journal.sheet["poses"])
        words = f"{len(marks)} landmarks" + (f", {hand} by hand" if hand else "")
        steps = [
            m.StepState(name="measure", state="done", words=words),
            m.StepState(
                name="build", state="done", words=f"{self.description.controls}, {len(self.rig.channels)} channels"
            ),
            m.StepState(
                name="pose", state="done" if poses else "not yet", words=f"{poses} kept" if poses else "none kept yet"
            ),
            self._prove_step(),
        ]
        score = self.score
        keys = sum(len(row) for row in score.keys.values()) if score else 0
        move = f"{score.name}, {keys} keys" if score else "no score yet"
        steps.append(m.StepState(name="move", state="done" if score else "not yet", words=move))
        if self.handed_over_at is None:
            steps.append(m.StepState(name="hand over", state="not yet", words="not yet"))
        else:
            revision, at = self.handed_over_at
            stale = revision != self.rig_revision
            words = f"stale since the rig changed, {at}" if stale else f"done at {at}"
            steps.append(m.StepState(name="hand over", state="stale" if stale else "done", words=words))
        return tuple(steps)

    def _prove_step(self) -> m.StepState:
        proof = self.proof
        if proof is None:
            return m.StepState(name="prove", state="not yet", words="not yet")
        if proof.running:
            return m.StepState(name="prove", state="working", words=f"looking at {proof.running}")
        short = sum(finding.verdict == "falls short" for finding in proof.findings)
        count = f"{short} of {len(proof.findings)} fall short" if short else f"{len(proof.findings)} hold"
        if proof.rig_revision != self.rig_revision:
            return m.StepState(name="prove", state="stale", words=f"stale; {count}")
        return m.StepState(name="prove", state="falls short" if short else "done", words=count)


def open_project(path: Path) -> Project:
    """Open a character or a rig file; a character without a rig file beside it gets one.

    Raises InstepError as reading, measuring and building do, and OutputError where the rig file cannot be written.
    """
    if is_rig_file(path):
        rig_file = path
        character = read_described_character(read_rig_file(path), path)
    else:
        rig_file = path.with_name(f"{path.stem}{RIG_FILE}")
        character = _character_beside(path, rig_file)
    builder = Builder(character, rig_file)
    fresh = not rig_file.exists()
    if fresh:
        description = builder.solve(RigDescription(character=path.name))
        write_whole(rig_file, rig_file_text(description).encode())
    else:
        description = read_rig_file(rig_file)
    on_disk = rig_file.read_bytes()
    rig = builder.build(description)
    data = description.model_dump(mode="json")
    sheet: dict[str, Any] = {"description": data, "pose": {}, "poses": {}, "score": None}
    journal = read_journal(rig_file.with_name(character_name(rig_file) + JOURNAL), sheet)
    if text_of(_valid(journal.sheet["description"], description)) != text_of(description):
        journal.change(OPENED_OUTSIDE, {"description": data})
    else:
        journal.sheet["description"] = data
    journal.start()
    written = datetime.datetime.fromtimestamp(rig_file.stat().st_mtime).strftime("%H:%M:%S")
    project = Project(rig_file, builder, journal, rig, on_disk, written_at=written)
    project._hear_score()
    return project


def _character_beside(path: Path, rig_file: Path) -> Character:
    character = read_character(path)
    if rig_file.exists():
        named = character_path(read_rig_file(rig_file), rig_file)
        if named.resolve() != path.resolve():
            raise RigFileError(
                f"it belongs to another character, {named.name}",
                where=rig_file.name,
                expected=f"the rig file of {path.name}",
                cure="Open the rig file itself, or move it away",
            )
    return character


def _valid(data: dict[str, Any], otherwise: RigDescription) -> RigDescription:
    """A description out of the journal; where an older version wrote it otherwise, the rig file's own."""
    try:
        return RigDescription.model_validate(data)
    except ValidationError:
        return otherwise


def _some(names: list[str]) -> str:
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")


def _now() -> str:
    return datetime.datetime.now().strftime("%H:%M:%S")
