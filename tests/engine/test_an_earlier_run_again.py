"""A run over an earlier one: its log is used where nothing has changed, and makes no difference."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from coldsift.engine import Settings, reading, screen, write_outputs
from coldsift.engine.earlier import earlier_reading
from coldsift.intake import ReadOptions
from coldsift.intake.files import gather
from coldsift.intake.layouts import load_layouts, own_folder
from coldsift.regimes import Bands
from coldsift.simulate import plan_fleet, simulate
from coldsift.simulate.layouts import write_logs


@pytest.fixture(scope="module", autouse=True)
def small_batches() -> object:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(reading, "ROWS_A_BATCH", 200)
        patched.setattr(reading, "BYTES_A_BATCH", 30_000)
        yield


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five units; of two the same log was handed in again, one of which alone states the refrigerant."""
    folder = tmp_path_factory.mktemp("voyage") / "logs"
    fleet = simulate(plan_fleet(units=5, days=1.5, seed=81, interval_minutes=30))
    names = fleet.log["container"].unique().sort().to_list()
    write_logs(fleet.log, folder, dict.fromkeys(names, "plain_words"))
    for number in (1, 4):
        log = next(folder.glob(f"{names[number]}*"))
        again = b"Refrigerant: R452A\n\n" if number == 4 else b""
        (folder / f"late_{log.name}").write_bytes(again + log.read_bytes())
    return folder


@pytest.fixture(scope="module")
def run(logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(logs, tmp_path_factory.mktemp("run") / "out")


def written(
    logs: Path, out: Path, settings: Settings | None = None, again: Path | None = None, language: str = "en"
) -> Path:
    screening = screen([logs], settings or Settings(), again=again)
    write_outputs(screening, out, "Voyage", language=language)
    return out


def contents(out: Path) -> dict[str, bytes]:
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}


def known(run: Path, logs: Path, options: ReadOptions | None = None) -> bool:
    files, _ = gather([logs])
    options = options or ReadOptions()
    return earlier_reading(run, files, options, load_layouts(options.parsers)[0]) is not None


def test_unchanged_logs_give_the_same_bytes_as_when_they_are_read_again(
    logs: Path, run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    manifest = json.loads((run / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["rows"]["merged"] > 100, "two logs were handed in twice"
    assert len([name for name in manifest["reading"]["parts"] if name.startswith("common_log/")]) > 3
    other = Settings(bands=Bands.same(1.5))
    fresh = written(logs, tmp_path / "fresh", other, language="es")
    monkeypatch.setattr(reading, "read_batch", None)
    assert contents(written(logs, tmp_path / "again", again=run)) == contents(run)
    assert contents(written(logs, tmp_path / "other", other, run, "es")) == contents(fresh)


def test_a_refrigerant_stated_in_a_log_that_was_merged_whole_is_still_known(logs: Path, run: Path) -> None:
    files, _ = gather([logs])
    again = earlier_reading(run, files, ReadOptions(), load_layouts()[0])
    assert again is not None
    stated = [source.record for source in again.sources if source.record.refrigerant == "R452A"]
    assert len(stated) == 1
    assert stated[0].used == 0
    assert list(again.refrigerants().values()) == ["R452A"]


def add_a_log(log: Path) -> None:
    shutil.copy(log, log.with_name("one_more.csv"))


def edit_a_log(log: Path) -> None:
    log.write_bytes(log.read_bytes() + b"\n")


@pytest.mark.parametrize(
    "change",
    [
        add_a_log,
        edit_a_log,
        Path.unlink,
        lambda log: log.rename(log.with_name("other.csv")),
    ],
    ids=["added", "edited", "removed", "renamed"],
)
def test_a_run_whose_logs_have_changed_is_not_used(
    logs: Path, run: Path, tmp_path: Path, change: Callable[[Path], object]
) -> None:
    now = shutil.copytree(logs, tmp_path / "logs")
    assert known(run, now)
    change(min(now.iterdir()))
    assert not known(run, now)


def test_a_run_that_was_read_in_another_way_is_not_used(logs: Path, run: Path, tmp_path: Path) -> None:
    assert not known(run, logs, ReadOptions(time_zone="+02:00"))
    assert not known(run, logs, ReadOptions(date_order="day_first"))
    assert not known(run, logs, ReadOptions(layout="plain_words"))
    assert known(run, logs, ReadOptions(parsers=(tmp_path,)))
    own = shutil.copytree(own_folder() / "comma_iso", tmp_path / "comma_iso") / "layout.toml"
    assert known(run, logs, ReadOptions(parsers=(tmp_path,))), "it says the same"
    own.write_text(own.read_text(encoding="utf-8").replace('"TIME"', '"CLOCK"'), encoding="utf-8")
    assert not known(run, logs, ReadOptions(parsers=(tmp_path,)))


def a_reading_changed(run: Path) -> None:
    part = next(iter(sorted((run / "common_log").iterdir())))
    pl.read_parquet(part).with_columns(pl.col("set_point") + 1).write_parquet(part)


def manifest_of(text: str) -> Callable[[Path], object]:
    return lambda run: (run / "manifest.json").write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    "change",
    [
        a_reading_changed,
        lambda run: (run / "set_aside.parquet").unlink(),
        lambda run: (run / "manifest.json").unlink(),
        manifest_of("{"),
        manifest_of("[]"),
        manifest_of('{"tool": "another"}'),
        manifest_of('{"reading": {"parts": {"../../nothing": "0"}, "digest": "0"}}'),
        manifest_of('{"reading": {"parts": [1], "digest": "0"}}'),
    ],
)
def test_a_run_that_is_not_as_it_was_written_is_not_used(
    logs: Path, run: Path, tmp_path: Path, change: Callable[[Path], object]
) -> None:
    bent = tmp_path / "bent"
    shutil.copytree(run, bent)
    assert known(bent, logs)
    change(bent)
    assert not known(bent, logs)
