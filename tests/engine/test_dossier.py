"""One container reconstructed from the sample voyage, and reckoned again from its sources."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

import coldsift
from coldsift.cargo import Cargo, notes
from coldsift.engine import (
    DossierError,
    OutputError,
    Request,
    Screening,
    Settings,
    VoyageFiles,
    reconstruct,
    verify,
    verifying,
)
from coldsift.engine import bundles as writing
from coldsift.engine.bundles import write_dossier
from coldsift.engine.inputs import digest
from coldsift.engine.reconstructing import instant
from coldsift.schema import TABLES

SAMPLE = Path(__file__).parents[2] / "sample_logs"

FAILED = "ZZRU4314001"
"""Its expansion valve is planted not to open."""

UNPLUGGED = "ZZRU4472500"
"""Hours without a socket while it is ashore between two ships' stays."""

SOUND = "QXAU4313976"
TREATED, WITHOUT_PROBES = "XQTU4631019", "XQFU4631020"

FEW = (f"{FAILED}.xlsx", f"{SOUND}.csv", "XQTU4234768.csv", f"{WITHOUT_PROBES}.csv")
"""Logs for what does not hang on the others: a bundle is reckoned again many times."""

FILES = VoyageFiles(facts=SAMPLE / "facts.toml", events=SAMPLE / "custody.csv", notes=SAMPLE / "notes.csv")


@pytest.fixture(scope="module")
def screening(sample_with_papers: Screening) -> Screening:
    return sample_with_papers


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copy_of_few(tmp_path_factory.mktemp("logs") / "few")


def copy_of_few(folder: Path) -> Path:
    folder.mkdir()
    for name in FEW:
        shutil.copy(SAMPLE / name, folder)
    return folder


@pytest.fixture(scope="module")
def few(logs: Path) -> Screening:
    return coldsift.screen([logs], Settings(voyage=FILES))


@pytest.fixture(scope="module")
def written(few: Screening, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("dossier") / FAILED
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writing, "PAPERS", {})
        write_dossier(few, Request(FAILED), out)
    return out


@pytest.fixture(scope="module")
def slabs() -> dict[object, pl.DataFrame]:
    """Slabs reckoned so far, by cargo and span."""
    return {}


@pytest.fixture
def _screened_once(
    few: Screening, slabs: dict[object, pl.DataFrame], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The logs are as they were: what takes longest need not be reckoned again for what else is bent."""
    profile = notes.slab_profile

    def once(timeline: pl.DataFrame, cargo: Cargo) -> pl.DataFrame:
        of = (repr(cargo), timeline["time"].min(), timeline["time"].max())
        if of not in slabs:
            slabs[of] = profile(timeline, cargo)
        return slabs[of]

    monkeypatch.setattr(verifying, "screen", lambda *_: few)
    monkeypatch.setattr(notes, "slab_profile", once)


def answered(screening: Screening, container: str, **request: object) -> list[str]:
    found = reconstruct(screening, Request(container, **request))  # type: ignore[arg-type]
    return [f"{answer.answer} {answer.sure}" for answer in found.answers]


def test_the_five_answers_name_time_distance_cause_holder_and_what_is_not_known(screening: Screening) -> None:
    what, how_far, why, custody, untold = answered(screening, FAILED)
    assert "return air rose above its band" in what
    assert "2031-01-15 11:" in what
    assert "not come back when the readings end" in what
    assert "beyond the edge" in how_far
    assert "core reckoned at" in how_far
    assert "xpansion valve" in why
    assert "this speaks for the box, not the ship" in why
    assert "It began with Ship (invented)" in custody
    assert "Discharge terminal (invented)" in custody
    assert "simulated units only" not in untold
    assert "own section" in untold


def test_hours_without_a_socket_are_put_down_to_who_had_the_container(screening: Screening) -> None:
    what, _, why, custody, _ = answered(screening, UNPLUGGED)
    assert "was back within it" in what
    assert "supply was off at this unit" in why
    assert "It began with Transhipment terminal (invented)" in custody


def test_the_parts_of_an_excursion_by_custody_add_up_to_it(screening: Screening) -> None:
    found = reconstruct(screening, Request(FAILED))
    parts = found.excursion_parts.filter(pl.col("division") == "custody")
    assert parts["part"].to_list() == ["Ship (invented)", "Discharge terminal (invented)"]
    assert parts["degree_hours"].sum() == pytest.approx(found.excursions["degree_hours"].sum())


def test_a_container_without_an_excursion_is_told_so_and_not_called_safe(screening: Screening) -> None:
    found = reconstruct(screening, Request(SOUND))
    assert found.main_excursion is None
    assert "core reckoned at" in found.answers[1].answer
    assert "no excursion in this window" in found.answers[0].answer
    text = " ".join(f"{answer.answer} {answer.sure}" for answer in found.answers)
    assert "safe" not in text


def test_a_window_keeps_what_lies_in_it(screening: Screening) -> None:
    start, end = datetime(2031, 1, 8, tzinfo=UTC), datetime(2031, 1, 10, tzinfo=UTC)
    found = reconstruct(screening, Request(FAILED, start, end))
    assert found.excursions.is_empty()
    assert found.timeline["time"].min() >= start
    assert found.timeline["time"].max() <= end
    assert found.cargo_temperatures["time"].max() <= end
    assert {event.kind for event in found.events} >= {"custody", "log"}


def test_a_window_without_readings_says_where_the_log_lies(screening: Screening) -> None:
    late = datetime(2031, 3, 1, tzinfo=UTC)
    with pytest.raises(DossierError, match="no reading from 2031-03-01") as caught:
        reconstruct(screening, Request(FAILED, late, datetime(2031, 3, 2, tzinfo=UTC)))
    assert "Its log runs from 2031-01-0" in str(caught.value)
    with pytest.raises(DossierError, match="before it begins"):
        reconstruct(screening, Request(FAILED, late, datetime(2031, 2, 1, tzinfo=UTC)))


@pytest.mark.parametrize("asked", ["ZZRU431400", "zzru 431400-2", "ZZRU4314010"])
def test_an_unknown_container_is_told_with_those_near_it(screening: Screening, asked: str) -> None:
    with pytest.raises(DossierError, match=f"Near it: .*{FAILED}"):
        reconstruct(screening, Request(asked))


def test_a_number_is_found_however_it_is_spelled(screening: Screening) -> None:
    assert reconstruct(screening, Request("zzru 431400-1")).container == FAILED


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("2031-01-31", datetime(2031, 1, 31, tzinfo=UTC)),
        ("2031-01-31T10:00Z", datetime(2031, 1, 31, 10, tzinfo=UTC)),
        ("2031-01-31 10:00+02:00", datetime(2031, 1, 31, 8, tzinfo=UTC)),
        ("31/01/2031 10:00", datetime(2031, 1, 31, 10, tzinfo=UTC)),
    ],
)
def test_a_window_is_given_as_people_write_times(text: str, meant: datetime) -> None:
    assert instant(text, "--from", None, None) == meant


def test_a_time_that_is_none_or_can_be_two_is_asked_about() -> None:
    with pytest.raises(DossierError, match="--from 'tomorrow' is no time"):
        instant("tomorrow", "--from", None, None)
    with pytest.raises(DossierError, match="--date-order"):
        instant("03/04/2031 10:00", "--to", None, None)
    assert instant("03/04/2031", "--to", None, "day_first") == datetime(2031, 4, 3, tzinfo=UTC)


def test_a_treatment_that_is_ordered_is_counted_probe_by_probe(screening: Screening) -> None:
    found = reconstruct(screening, Request(TREATED))
    assert found.treatment is not None
    assert found.treatment.verdict == "not_complete"
    assert {probe.probe for probe in found.treatment.probes} == {
        f"cargo_probe_{place}" for place in (1, 2, 3)
    }
    assert found.treatment.days["probe"].n_unique() == 4
    assert found.treatment.how_counted
    assert reconstruct(screening, Request(SOUND)).treatment is None


def test_a_treatment_without_probes_cannot_be_judged(screening: Screening) -> None:
    treatment = reconstruct(screening, Request(WITHOUT_PROBES)).treatment
    assert treatment is not None
    assert treatment.verdict == "cannot_judge"
    assert "probe" in treatment.reason


def test_every_table_of_the_bundle_is_as_documented(written: Path) -> None:
    bundle = written / "bundle"
    for name in ("excursions", "excursion_parts", "gaps", "cargo", "custody", "notes", "defrosts"):
        schema = pl.read_parquet_schema(bundle / f"{name}.parquet")
        assert schema == {column.name: column.dtype for column in TABLES[name].columns}
    assert pl.read_parquet(bundle / "peers.parquet").columns == TABLES["peers_then"].names


def test_the_page_is_one_file_under_three_megabytes(written: Path) -> None:
    page = written / "index.html"
    assert page.stat().st_size < 3_000_000
    assert FAILED in page.read_text(encoding="utf-8")


def test_the_sources_give_the_bundle_s_numbers_again(written: Path, logs: Path) -> None:
    verdict = verify(written, [logs])
    assert verdict.difference == ""
    assert verdict.values > 10_000
    assert verdict.files == ("index.html",)
    assert verdict.notes == ()


@pytest.fixture
def copied(written: Path, tmp_path: Path) -> Path:
    shutil.copytree(written / "bundle", tmp_path / "bundle")
    return tmp_path / "bundle"


def changed_record(bundle: Path, change: str, to: str) -> None:
    path = bundle / "dossier.json"
    text = path.read_text(encoding="utf-8")
    assert change in text
    path.write_text(text.replace(change, to, 1), encoding="utf-8")


def test_a_table_that_was_changed_afterwards_is_named(copied: Path) -> None:
    frame = pl.read_parquet(copied / "excursions.parquet")
    frame.with_columns(peak=pl.col("peak") - 1).write_parquet(copied / "excursions.parquet")
    assert verify(copied, [SAMPLE]).difference == (
        "excursions.parquet in the bundle is not as it was written: its SHA-256 is another"
    )


@pytest.mark.usefixtures("_screened_once")
def test_a_number_that_was_changed_with_its_hash_is_found_by_reckoning(copied: Path) -> None:
    path = copied / "excursions.parquet"
    before = digest(path)
    frame = pl.read_parquet(path)
    frame.with_columns(peak=pl.col("peak") - 1).write_parquet(path)
    changed_record(copied, before, digest(path))
    difference = verify(copied, [SAMPLE]).difference
    assert difference.startswith("table excursions, row 1, peak: the bundle has -2.6")


@pytest.mark.usefixtures("_screened_once")
def test_a_sentence_that_was_changed_is_found_by_reckoning(copied: Path) -> None:
    changed_record(copied, "It began with Ship (invented)", "It began with the shipper")
    assert "It began with the shipper" in verify(copied, [SAMPLE]).difference


@pytest.mark.usefixtures("_screened_once")
def test_a_size_that_was_changed_is_found(copied: Path) -> None:
    size = (SAMPLE / "XQTU4234768.csv").stat().st_size
    changed_record(copied, f'"size": {size}', '"size": 7')
    assert verify(copied, [SAMPLE]).difference == (
        f"source XQTU4234768.csv has {size} bytes, dossier.json says 7"
    )


@pytest.fixture
def whole_copy(written: Path, tmp_path: Path) -> Path:
    shutil.copytree(written, tmp_path / "dossier")
    return tmp_path / "dossier"


@pytest.mark.usefixtures("_screened_once")
@pytest.mark.parametrize("given", [".", "bundle"])
def test_a_page_that_was_changed_is_found_although_its_bundle_was_not(whole_copy: Path, given: str) -> None:
    page = whole_copy / "index.html"
    text = page.read_text(encoding="utf-8")
    assert "Ship (invented)" in text
    page.write_text(text.replace("Ship (invented)", "Shipper", 1), encoding="utf-8")
    verdict = verify(whole_copy / given, [SAMPLE])
    assert verdict.difference.startswith("index.html is not the page that the sources give")
    assert verdict.files == ()


@pytest.mark.usefixtures("_screened_once")
def test_a_printed_dossier_is_printed_again_and_one_that_differs_is_not_vouched_for(
    whole_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stands_for_a_browser(html: str, targets: dict[str, Path]) -> None:
        for paper, target in targets.items():
            target.write_text(f"{paper} {hashlib.sha256(html.encode()).hexdigest()}", encoding="utf-8")

    monkeypatch.setattr(verifying, "print_papers", stands_for_a_browser)
    page = (whole_copy / "index.html").read_text(encoding="utf-8")
    printed = {"A4": whole_copy / "dossier_a4.pdf", "Letter": whole_copy / "dossier_letter.pdf"}
    stands_for_a_browser(page, printed)
    assert verify(whole_copy, [SAMPLE]).files == ("index.html", "dossier_a4.pdf", "dossier_letter.pdf")
    printed["A4"].write_text("another", encoding="utf-8")
    verdict = verify(whole_copy, [SAMPLE])
    assert verdict.difference == ""
    assert verdict.files == ("index.html", "dossier_letter.pdf")
    assert "dossier_a4.pdf is not what this machine prints of index.html" in verdict.notes[0]


@pytest.mark.usefixtures("_screened_once")
def test_without_a_browser_the_printed_dossier_is_not_vouched_for(
    whole_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLDSIFT_BROWSER", "/none")
    (whole_copy / "dossier_a4.pdf").write_bytes(b"%PDF-1.4 anything")
    verdict = verify(whole_copy, [SAMPLE])
    assert (verdict.difference, verdict.files) == ("", ("index.html",))
    assert "dossier_a4.pdf not printed again" in verdict.notes[0]


def test_a_source_that_is_missing_or_was_changed_is_named(copied: Path, tmp_path: Path) -> None:
    sources = copy_of_few(tmp_path / "sources")
    log = sources / "XQTU4234768.csv"
    log.write_bytes(log.read_bytes().replace(b"0", b"1", 1))
    assert verify(copied, [sources]).difference.startswith("source XQTU4234768.csv (SHA-256")
    log.unlink()
    assert "is not among the files given" in verify(copied, [sources]).difference


def test_a_source_under_another_name_is_told_and_another_folder_does_no_harm(
    copied: Path, tmp_path: Path
) -> None:
    sources = copy_of_few(tmp_path / "sources")
    assert verify(copied, [sources]).difference == ""
    (sources / "XQTU4234768.csv").rename(sources / "renamed.csv")
    assert verify(copied, [sources]).difference == (
        "source XQTU4234768.csv is called renamed.csv here; give it under its name"
    )


def test_a_source_that_was_not_there_is_named(copied: Path, tmp_path: Path) -> None:
    sources = copy_of_few(tmp_path / "sources")
    (sources / "more.csv").write_bytes((SAMPLE / "XQTU4234768.csv").read_bytes() + b"\n")
    assert "more.csv" in verify(copied, [sources]).difference


@pytest.mark.usefixtures("_screened_once")
def test_another_version_is_told_beside_the_verdict(whole_copy: Path) -> None:
    changed_record(whole_copy / "bundle", f'"coldsift": "{coldsift.__version__}"', '"coldsift": "0.0.1"')
    verdict = verify(whole_copy, [SAMPLE])
    assert (verdict.difference, verdict.files) == ("", ())
    assert any("index.html was not made again" in note for note in verdict.notes)
    assert any("coldsift was 0.0.1" in note for note in verdict.notes)


def test_what_is_no_bundle_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DossierError, match=r"holds no dossier\.json"):
        verify(tmp_path, [SAMPLE])
    (tmp_path / "dossier.json").write_text("{}", encoding="utf-8")
    with pytest.raises(DossierError, match="no record of a dossier"):
        verify(tmp_path, [SAMPLE])


def test_the_same_sources_give_the_same_bytes(written: Path, few: Screening, tmp_path: Path) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writing, "PAPERS", {})
        write_dossier(few, Request(FAILED), tmp_path / "again")
    for path in sorted(written.rglob("*")):
        if path.is_file():
            assert path.read_bytes() == (tmp_path / "again" / path.relative_to(written)).read_bytes(), path


def test_the_record_holds_hashes_of_everything_it_rests_on(written: Path) -> None:
    record = json.loads((written / "bundle" / "dossier.json").read_text(encoding="utf-8"))
    assert set(record["inputs"]) == {"facts", "events", "notes"}
    assert all(len(source["sha256"]) == 64 for source in record["sources"])
    assert record["settings"]["bands"]["frozen"] == 3.0


def test_facts_of_containers_without_a_log_are_told(tmp_path: Path) -> None:
    facts = tmp_path / "facts.toml"
    facts.write_text("[units.QXAU0000016]\ncargo = 'banana'\n", encoding="utf-8")
    found = coldsift.screen([SAMPLE / "XQTU4234768.csv"], Settings(voyage=VoyageFiles(facts=facts)))
    told = [message for message in found.messages if message.file == "facts.toml"]
    assert [message.severity for message in told] == ["warning"]
    assert "QXAU0000016" in told[0].what


def test_a_contract_s_band_moves_the_excursion_of_its_unit_alone(logs: Path, tmp_path: Path) -> None:
    facts = tmp_path / "facts.toml"
    facts.write_text(f"[units.{FAILED}]\nband_above = 6\n", encoding="utf-8")
    wide = coldsift.screen([logs], Settings(voyage=VoyageFiles(facts=facts))).excursions
    usual = coldsift.screen([logs]).excursions
    other = pl.col("container") != FAILED
    assert wide.filter(other).equals(usual.filter(other))
    assert wide.filter(~other)["band_edge"].to_list() == [-14.0]
    assert usual.filter(~other)["band_edge"].to_list() == [-17.0]


@pytest.mark.parametrize(
    ("change", "to", "told"),
    [
        ('"tables": {', '"tables": [], "was": {', "no record of a dossier"),
        ('"file": "inputs/facts/facts.toml"', '"file": "../../../etc/hostname"', "outside the bundle"),
        ('"format": 1', '"format": 2', "is of format 2"),
        ('"bands": {', '"bands": {"other": 1, ', "no record of a dossier: settings.bands is missing or not"),
        ('"grace_hours": 1.0', '"grace_hours": "1"', "settings.grace_hours is missing or not"),
        ('"grace_hours": 1.0', '"grace_time": 1.0', "settings is missing or not as it was written"),
        ('"parsers": []', '"parsers": null', "settings.parsers is missing or not"),
        ('"units": {', '"units": {"QXAU0000001": [1], "QXAU0000002": [1, 2, 3], ', "no record of a dossier"),
        ('"from": null', '"from": "yesterday"', "no record of a dossier.*yesterday"),
        ('"from": null', '"from": "2031-01-10T00:00:00"', "names no time zone"),
        ('"refrigerant": "R134a"', '"refrigerant": "water ice"', "no record of a dossier.*water ice"),
        ('"time_zone": null', '"time_zone": "Nowhere"', "'Nowhere' is no time zone"),
        ('"sources": [', '"sources": [7, ', "sources 1 is missing or not"),
        ('"tables": {', '"tables": {"extra": {"rows": 1}, ', "tables.extra is missing or not"),
    ],
)
def test_a_record_that_was_bent_is_refused(copied: Path, change: str, to: str, told: str) -> None:
    changed_record(copied, change, to)
    with pytest.raises(DossierError, match=told):
        verify(copied, [SAMPLE])


@pytest.mark.usefixtures("_screened_once")
def test_a_bundle_whose_record_and_files_were_bent_together_differs(copied: Path) -> None:
    path = copied / "dossier.json"
    record = json.loads(path.read_text(encoding="utf-8"))
    as_written = {name: (copied / f"{name}.parquet").read_bytes() for name in ("gaps", "timeline")}

    def told(table: str, content: bytes | None, **entry: object) -> str:
        """The difference, with a table's file put in place of its own and its hash mended."""
        bent = json.loads(json.dumps(record))
        if content is not None:
            (copied / f"{table}.parquet").write_bytes(content)
            bent["tables"][table]["sha256"] = hashlib.sha256(content).hexdigest()
            bent["tables"][table].update(entry)
        else:
            del bent["tables"][table]
        path.write_text(json.dumps(bent), encoding="utf-8")
        try:
            return verify(copied, [SAMPLE]).difference
        finally:
            (copied / f"{table}.parquet").write_bytes(as_written[table])

    timeline = pl.read_parquet(copied / "timeline.parquet")
    as_text = io.BytesIO()
    timeline.with_columns(pl.col("supply_air").cast(pl.String)).write_parquet(as_text)
    assert told("gaps", b"no table") == "table gaps: gaps.parquet in the bundle cannot be read"
    assert told("gaps", None) == "table gaps: dossier.json does not name it"
    assert told("gaps", as_written["gaps"], rows=7).startswith("table gaps: dossier.json says 7 rows")
    assert told("timeline", as_text.getvalue()).startswith(
        "table timeline, supply_air: the bundle has String"
    )


@pytest.mark.usefixtures("_screened_once")
def test_an_answer_under_another_name_differs(copied: Path) -> None:
    changed_record(copied, '"main_excursion"', '"main_excursiom"')
    difference = verify(copied, [SAMPLE]).difference
    assert difference.startswith("told: the bundle has main_excursiom")


def test_files_of_somebody_else_beside_a_dossier_are_left_alone(
    few: Screening, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing, "PAPERS", {})
    out = tmp_path / "out"
    write_dossier(few, Request(SOUND), out)
    write_dossier(few, Request(SOUND), out)
    (out / "photo.jpg").write_bytes(b"mine")
    with pytest.raises(OutputError, match="did not write"):
        write_dossier(few, Request(SOUND), out)
    assert (out / "photo.jpg").read_bytes() == b"mine"


@pytest.mark.usefixtures("_screened_once")
def test_a_number_that_was_made_none_at_all_is_found(copied: Path) -> None:
    path = copied / "excursions.parquet"
    before = digest(path)
    pl.read_parquet(path).with_columns(degree_hours=float("nan")).write_parquet(path)
    changed_record(copied, before, digest(path))
    assert verify(copied, [SAMPLE]).difference.startswith("table excursions, row 1, degree_hours")
