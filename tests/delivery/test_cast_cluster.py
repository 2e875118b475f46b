"""A cast on a real scheduler with two workers: the same bytes as on this machine's processes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from instep.delivery import cast
from instep.delivery.cast import run_cast
from instep.delivery.cast_recipe import CastRecipe
from instep.errors import ClusterError
from tests.delivery.casts import QUICK, contents_of, here, write_folder


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    distributed = pytest.importorskip("distributed", reason='not installed: pip install "instep[cluster]"')
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", host="127.0.0.1",
        local_directory=str(tmp_path_factory.mktemp("workers")), silence_logs=50,
    ) as started:  # fmt: skip
        yield started


def test_a_cluster_gives_what_this_machine_gives(cluster: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write_folder(tmp_path / "models")
    recipe = CastRecipe(tune=("hold",), checks=("rest", "plant"))
    far = run_cast([folder], tmp_path / "far", recipe, cluster=cluster.scheduler_address)
    monkeypatch.setattr(cast, "on_processes", here)
    near = run_cast([folder], tmp_path / "near", recipe)
    assert far.outcomes == near.outcomes
    assert [entry.outcome for entry in far.outcomes] == ["holds", "holds", "failed"]
    assert contents_of(tmp_path / "far") == contents_of(tmp_path / "near")
    assert run_cast([folder], tmp_path / "far", recipe, cluster=cluster.scheduler_address, since="last").built == ()


def test_where_nobody_answers_it_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    distributed = pytest.importorskip("distributed", reason='not installed: pip install "instep[cluster]"')

    def nobody(*arguments: Any, **options: Any) -> Any:
        raise OSError("Timed out")

    monkeypatch.setattr(distributed, "Client", nobody)
    folder = write_folder(tmp_path / "models")
    with pytest.raises(ClusterError) as caught:
        run_cast([folder], tmp_path / "out", QUICK, cluster="tcp://127.0.0.1:9")
    assert str(caught.value) == (
        "tcp://127.0.0.1:9: no scheduler answers (OSError); expected the address of a Dask scheduler, such as "
        "tcp://10.0.0.5:8786. Start one there with: dask scheduler."
    )
