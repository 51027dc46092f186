"""A dossier out of an archive, without the log files: the same to the byte as from them."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

import coldsift
from coldsift.archive import ArchiveError, add_run, part, read_voyages
from coldsift.archive import add as adding
from coldsift.engine import (
    DossierError,
    Request,
    Screening,
    Settings,
    VoyageFiles,
    reconstruct,
    verify,
    write_outputs,
)
from coldsift.engine import bundles as writing
from coldsift.engine.bundles import tables_of, told_of, write_dossier
from coldsift.engine.recalled import recall
from coldsift.peers import unit_hours
from coldsift.regimes import Bands

SAMPLE = Path(__file__).parents[2] / "sample_logs"

FAILED, TREATED, UNPLUGGED, SOUND = "ZZRU4314001", "XQTU4631019", "ZZRU4472500", "QXAU4313976"
LOGS = tuple(
    SAMPLE / name
    for name in (
        f"{FAILED}.xlsx",
        f"{UNPLUGGED}.xlsx",
        "fleet_parquet.parquet",
        f"{SOUND}.csv",
        "XQFU4631020.csv",
        "ZZBU4393246.txt",
        "ZZRU4393253.jsonl",
    )
)

FILES = VoyageFiles(
    facts=SAMPLE / "facts.toml",
    events=SAMPLE / "custody.csv",
    notes=SAMPLE / "notes.csv",
    bookings=SAMPLE / "bookings.csv",
    spares=SAMPLE / "spares.csv",
)


@pytest.fixture(scope="module", autouse=True)
def _no_paper() -> Iterator[None]:
    """Neither PDF nor catalogue for other programs: other tests are about them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writing, "PAPERS", {})
        patch.setattr(adding, "_renew_catalogue", lambda *_: None)
        yield


@pytest.fixture(scope="module")
def screening() -> Screening:
    settings = Settings(bands=Bands(chilled=1.5), voyage=FILES, round_hours=4.0, time_zone="+02:00")
    return coldsift.screen(LOGS, settings)


@pytest.fixture(scope="module")
def run(screening: Screening, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs") / "North"
    write_outputs(screening, folder, "Some of the sample voyage")
    return folder


@pytest.fixture(scope="module")
def archive(run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kept") / "archive"
    add_run(run, folder)
    return folder


def from_archive(archive: Path, out: Path, request: Request) -> Path:
    with recall(archive, request.container, None, request.start, request.end) as recalled:
        write_dossier(recalled, request, out)
    return out


@pytest.fixture(scope="module")
def written(archive: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return from_archive(archive, tmp_path_factory.mktemp("dossier") / "out", Request(FAILED))


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_page_and_bundle_are_the_same_bytes_as_from_the_logs(
    screening: Screening, written: Path, tmp_path: Path
) -> None:
    write_dossier(screening, Request(FAILED), tmp_path / "out")
    logs, kept = contents(tmp_path / "out"), contents(written)
    assert kept.keys() == logs.keys()
    assert [name for name in logs if kept[name] != logs[name]] == []
    assert {"index.html", "bundle/dossier.json", "bundle/inputs/facts/facts.toml"} <= kept.keys()


@pytest.mark.parametrize(
    "asked",
    [
        Request(TREATED),
        Request("zzru 447250-0", datetime(2031, 1, 9, 3, 30, tzinfo=UTC), datetime(2031, 1, 14, tzinfo=UTC)),
    ],
)
def test_a_treatment_and_a_window_are_told_as_from_the_logs(
    screening: Screening, archive: Path, asked: Request
) -> None:
    with recall(archive, asked.container) as recalled:
        kept, logs = reconstruct(recalled, asked), reconstruct(screening, asked)
        assert told_of(kept) == told_of(logs)
        assert [name for name, _ in tables_of(kept)] == [name for name, _ in tables_of(logs)]
        for (name, ours), (_, theirs) in zip(tables_of(kept), tables_of(logs), strict=True):
            assert ours.equals(theirs), name
        assert (kept.parameters, kept.versions) == (logs.parameters, logs.versions)


def test_the_logs_verify_a_bundle_that_was_made_without_them(written: Path) -> None:
    verdict = verify(written, LOGS)
    assert (verdict.difference, verdict.notes) == ("", ())
    assert verdict.values > 10_000


def test_spares_and_the_time_for_the_round_say_nothing_of_a_container(written: Path) -> None:
    record = json.loads((written / "bundle" / "dossier.json").read_text(encoding="utf-8"))
    assert set(record["inputs"]) == {"facts", "events", "notes", "bookings"}
    assert record["settings"]["bands"]["chilled"] == 1.5
    page = (written / "index.html").read_text(encoding="utf-8")
    assert "spares.csv" not in page
    assert "time for the round" not in page


def test_hours_are_kept_of_every_unit(screening: Screening, archive: Path) -> None:
    (voyage,) = read_voyages(archive).iter_rows(named=True)
    kept = pl.read_parquet(part(archive, "unit_hours", voyage["voyage"], voyage["run"]))
    assert kept.equals(unit_hours(screening.analysis.timeline))
    assert set(kept["container"]) == set(screening.findings["container"])


def test_a_run_by_another_version_is_told(run: Path, tmp_path: Path) -> None:
    older = shutil.copytree(run, tmp_path / "older")
    change_manifest(older, version="0.0.1")
    add_run(older, tmp_path / "archive")
    with recall(tmp_path / "archive", SOUND) as recalled:
        told = reconstruct(recalled, Request(SOUND)).versions
    assert told["coldsift"] == f"0.0.1 for the screening, {coldsift.__version__} for the dossier"


def change_manifest(run: Path, *without: str, **entries: object) -> None:
    path = run / "manifest.json"
    held = json.loads(path.read_text(encoding="utf-8")) | entries
    path.write_text(json.dumps({key: held[key] for key in held if key not in without}), encoding="utf-8")


def test_a_voyage_kept_before_papers_were_is_refused_with_what_to_do(run: Path, tmp_path: Path) -> None:
    """Its archive opens as ever."""
    older = shutil.copytree(run, tmp_path / "older")
    change_manifest(older, "settings", "inputs")
    shutil.rmtree(older / "unit_hours")
    archive = tmp_path / "archive"
    add_run(older, archive)
    with pytest.raises(DossierError, match=r"'older' was kept without .* Screen its logs again .*--replace"):
        from_archive(archive, tmp_path / "out", Request(FAILED))
    assert not (tmp_path / "out").exists()
    add_run(run, archive, replace=True)
    with recall(archive, FAILED) as recalled:
        assert recalled.name == "North"


def test_a_paper_of_the_run_that_was_changed_or_lies_outside_is_not_kept(run: Path, tmp_path: Path) -> None:
    bent = shutil.copytree(run, tmp_path / "bent")
    facts = bent / "inputs" / "facts" / "facts.toml"
    facts.write_bytes(facts.read_bytes() + b"\n")
    with pytest.raises(ArchiveError, match=r"inputs/facts/facts\.toml, a paper .* not as it was written"):
        add_run(bent, tmp_path / "archive")
    facts.unlink()
    with pytest.raises(ArchiveError, match=r"facts\.toml, a paper .* is missing"):
        add_run(bent, tmp_path / "archive")
    inputs = json.loads((run / "manifest.json").read_text(encoding="utf-8"))["inputs"]
    inputs["facts"]["file"] = "../North/inputs/facts/facts.toml"
    change_manifest(bent, inputs=inputs)
    with pytest.raises(ArchiveError, match="a paper"):
        add_run(bent, tmp_path / "archive")
    assert not (tmp_path / "archive" / "voyages.parquet").exists()


def two_voyages(run: Path, folder: Path, names: tuple[str, str]) -> Path:
    """The same containers on a second voyage, a hundred days later."""
    later = shutil.copytree(run, folder / "later")
    for path in later.rglob("*.parquet"):
        pl.read_parquet(path).with_columns(
            pl.selectors.by_dtype(pl.Datetime("us", "UTC"), pl.Date) + timedelta(days=100)
        ).write_parquet(path)
    sources = json.loads((run / "manifest.json").read_text(encoding="utf-8"))["sources"]
    change_manifest(later, sources=[{**source, "sha256": source["sha256"][::-1]} for source in sources])
    for name, each in zip(names, (run, later), strict=True):
        add_run(each, folder / "archive", name)
    return folder / "archive"


def test_a_container_on_two_voyages_wants_one_of_them(run: Path, tmp_path: Path) -> None:
    archive = two_voyages(run, tmp_path, ("North", "South"))
    told = r"is on 2 voyages of .*'North' \(2031-01-0\d to 2031-01-\d\d\), 'South' \(2031-04-\d\d to "
    with pytest.raises(DossierError, match=told + ".*--voyage.*--from and --to"), recall(archive, FAILED):
        pass
    with recall(archive, FAILED, "South") as recalled:
        assert recalled.of_container(FAILED).timeline["time"][0].month == 4
    late = datetime(2031, 4, 1, tzinfo=UTC)
    with recall(archive, FAILED, start=late) as recalled:
        assert recalled.name == "South"
    with recall(archive, FAILED, end=late) as recalled:
        assert recalled.name == "North"
    with (
        pytest.raises(DossierError, match="is on 2 voyages"),
        recall(archive, FAILED, start=late.replace(year=2032)),
    ):
        pass
    with pytest.raises(DossierError, match=r"no voyage 'Nort' in .*'North'"), recall(archive, FAILED, "Nort"):
        pass


def test_two_voyages_of_one_name_are_told_apart_by_their_ids(run: Path, tmp_path: Path) -> None:
    archive = two_voyages(run, tmp_path, ("North", "North"))
    first, second = read_voyages(archive)["voyage"]
    with pytest.raises(DossierError, match=f"{first}.*{second}"), recall(archive, FAILED, "North"):
        pass
    with recall(archive, FAILED, second) as recalled:
        assert recalled.voyage == second


@pytest.mark.parametrize("asked", ["ZZRU431400", "ZZRU4314010"])
def test_an_unknown_container_is_told_with_those_near_it(archive: Path, asked: str) -> None:
    told = f"no container '{asked}'.* in the voyage 'North'. Near it: .*{FAILED}"
    with pytest.raises(DossierError, match=told), recall(archive, asked):
        pass


def test_what_is_no_archive_or_an_empty_one_is_told(run: Path, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="holds no archive"), recall(tmp_path, FAILED):
        pass
    with pytest.raises(ArchiveError):
        add_run(tmp_path, tmp_path / "archive")
    archive = tmp_path / "begun"
    add_run(run, archive)
    read_voyages(archive).clear().write_parquet(archive / "voyages.parquet")
    with pytest.raises(DossierError, match="keeps no voyage yet"), recall(archive, FAILED):
        pass


@pytest.mark.parametrize("table", ["common_log", "unit_hours", "inputs", "manifests", "findings", "causes"])
def test_a_damaged_part_is_told_and_nothing_is_written(archive: Path, tmp_path: Path, table: str) -> None:
    damaged = shutil.copytree(archive, tmp_path / "archive")
    (path,) = damaged.glob(f"{table}/voyage=*/*.parquet")
    path.write_bytes(path.read_bytes()[:-50])
    with pytest.raises(ArchiveError, match=r"a part of .* cannot be read.*--replace"):
        from_archive(damaged, tmp_path / "out", Request(FAILED))
    path.unlink()
    with pytest.raises(ArchiveError, match=r"a part of .* cannot be read"):
        from_archive(damaged, tmp_path / "out", Request(FAILED))
    assert {entry.name for entry in tmp_path.iterdir()} == {"archive"}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"settings": {"bands": 7}}, "manifest of 'North'.*settings"),
        ({"sources": [{"sha256": "a", "used": 1}]}, "manifest of 'North'.*messages"),
        ({"messages": [{}]}, "manifest of 'North'.*messages 1"),
    ],
)
def test_a_manifest_that_was_bent_is_refused(
    archive: Path, tmp_path: Path, change: dict[str, object], told: str
) -> None:
    bent = shutil.copytree(archive, tmp_path / "archive")
    (path,) = bent.glob("manifests/voyage=*/*.parquet")
    held = json.loads(pl.read_parquet(path).item()) | change
    pl.DataFrame({"text": [json.dumps(held)]}).write_parquet(path)
    with pytest.raises(DossierError, match=told), recall(bent, FAILED):
        pass
