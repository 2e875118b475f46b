"""The command line: one command a file. What a command does belongs to a floor below; here it is asked and told."""

from __future__ import annotations

import sys

import click

from instep import __version__
from instep.cli.bake import bake
from instep.cli.bench import bench
from instep.cli.cast import cast
from instep.cli.contacts import contacts
from instep.cli.emit import emit
from instep.cli.fit import fit
from instep.cli.gait import gait
from instep.cli.look import look
from instep.cli.measure import measure
from instep.cli.plant import plant
from instep.cli.pose import pose
from instep.cli.prove import prove
from instep.cli.rebase import rebase
from instep.cli.rig import rig
from instep.cli.thin import thin
from instep.cli.tune import tune
from instep.cli.why import why


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="instep", message="%(prog)s %(version)s")
def instep() -> None:
    """Leg-and-foot rigs from a skinned character: measured from its mesh, built from a short text file.

    Start with: instep rig CHARACTER.glb -o FOLDER
    """


for command in (
    rig,
    bench,
    look,
    measure,
    pose,
    bake,
    why,
    tune,
    prove,
    cast,
    rebase,
    emit,
    fit,
    contacts,
    plant,
    thin,
    gait,
):
    instep.add_command(command)


def main() -> None:
    """Run the command line; the process ends with status 0, or 2 where the user must change something."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a sign shall show a question mark for it, not end the program.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    instep(prog_name="instep")
