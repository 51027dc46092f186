"""Layouts: chosen by score, ties refused, users' and plug-ins' folders, drafts, refused declarations."""

from __future__ import annotations

import tomllib
from importlib import metadata
from pathlib import Path

import polars as pl
import pytest
from intake_frames import UNITS, assert_accounted, errors, invented_log
from tests.builders import SMALL_LAYOUT as SMALL

from coldsift.intake import read_logs
from coldsift.intake.declaration import DeclarationError, parse_declaration
from coldsift.intake.layouts import draft_layout, load_layouts, own_folder, try_layouts
from coldsift.simulate.layouts import write_logs

OWN = sorted(path.parent for path in own_folder().glob("*/layout.toml"))


def layout_folder(folder: Path, name: str = "small", text: str = SMALL) -> Path:
    (folder / name).mkdir(parents=True)
    (folder / name / "layout.toml").write_text(text.replace('"small"', f'"{name}"'), encoding="utf-8")
    return folder


def small_log(folder: Path) -> Path:
    path = folder / "log.csv"
    path.write_text(f"When,Box,Blown,Wanted\n2026-04-01 00:00,{UNITS[0]},-18.1,-18\n")
    return path


@pytest.mark.parametrize("place", OWN, ids=lambda place: place.name)
def test_each_layout_reads_its_sample_as_expected(place: Path) -> None:
    expected = tomllib.loads((place / "expected.toml").read_text(encoding="utf-8"))
    intake = read_logs([place / expected["sample"]])
    assert_accounted(intake)
    assert errors(intake) == []
    (source,) = intake.sources
    assert source.layout == place.name
    assert source.used == expected["used"]
    assert intake.log.height == expected["rows"]
    for reading in expected["reading"]:
        row = intake.log.filter(
            pl.col("container") == reading["container"], pl.col("time") == reading["time"]
        )
        assert row.height == 1
        value = row[reading["channel"]][0]
        value = value.to_list() if isinstance(value, pl.Series) else value
        if isinstance(reading["value"], float):
            assert value == pytest.approx(reading["value"], abs=reading["within"])
        else:
            assert value == reading["value"]


def test_a_layout_of_ones_own_reads_what_no_other_does(tmp_path: Path) -> None:
    path = small_log(tmp_path)
    assert errors(read_logs([path])) != []
    intake = read_logs([path], parsers=[layout_folder(tmp_path / "mine")])
    assert_accounted(intake)
    assert intake.sources[0].layout == "small"
    assert intake.log["supply_air"].to_list() == [-18.1]


def test_a_tie_is_an_error_naming_both_and_the_option_settles_it(tmp_path: Path) -> None:
    path = small_log(tmp_path)
    mine = layout_folder(layout_folder(tmp_path / "mine"), "other")
    intake = read_logs([path], parsers=[mine])
    assert_accounted(intake)
    (message,) = errors(intake)
    assert "small" in message.what
    assert "other" in message.what
    assert "--layout" in message.do
    assert intake.sources[0].set_aside == 2
    settled = read_logs([path], parsers=[mine], layout="other")
    assert settled.sources[0].layout == "other"
    assert settled.log.height == 1


def test_a_layout_that_does_not_exist_or_does_not_fit_is_an_error(tmp_path: Path) -> None:
    path = small_log(tmp_path)
    for name in ("no_such", "fleet_parquet", "comma_iso"):
        intake = read_logs([path], layout=name)
        assert_accounted(intake)
        assert name in errors(intake)[0].what


def test_a_broken_layout_is_named_and_the_others_go_on(tmp_path: Path) -> None:
    mine = layout_folder(tmp_path / "mine")
    layout_folder(mine, "broken", SMALL + 'colour = "blue"\n')
    layout_folder(mine, "torn", "[layout\n")
    layouts, messages = load_layouts([mine])
    assert {"small", "comma_iso"} <= {layout.name for layout in layouts}
    assert [message.file for message in messages] == ["broken/layout.toml", "torn/layout.toml"]
    assert "column.colour" in messages[0].what


class PlugIn:
    """Stands for an installed entry point."""

    dist = None

    def __init__(self, name: str, target: object) -> None:
        self.name, self.target = name, target

    def load(self) -> object:
        if isinstance(self.target, Exception):
            raise self.target
        return self.target


def test_a_plug_in_adds_layouts_and_a_broken_one_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = layout_folder(tmp_path / "plugged")
    points = [
        PlugIn("b_good", lambda: folder),
        PlugIn("a_broken", ImportError("no module")),
        PlugIn("c_odd", 3),
        PlugIn("d_gone", str(tmp_path / "gone")),
    ]
    monkeypatch.setattr(metadata, "entry_points", lambda group: points if group == "coldsift.parsers" else [])
    layouts, messages = load_layouts()
    assert "small" in {layout.name for layout in layouts}
    assert len(layouts) == len(OWN) + 1
    assert [message.file for message in messages][:2] == ["plug-in a_broken", "plug-in c_odd"]
    assert len(messages) == 3
    assert read_logs([small_log(tmp_path)]).log.height == 1


def test_trying_ranks_all_layouts_with_reasons(tmp_path: Path) -> None:
    (path,) = write_logs(invented_log(units=1, rows=20), tmp_path, {UNITS[0]: "comma_iso"})
    ranked = try_layouts(path)
    assert len(ranked) == len(OWN) + 1
    assert ranked[0][0].name == "comma_iso"
    assert ranked[0][1] == 100
    scores = [score for _, score, _ in ranked]
    assert scores == sorted(scores, reverse=True)
    assert all(reasons for _, _, reasons in ranked)


def test_trying_a_file_that_is_none_says_why(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").write_bytes(b"")
    with pytest.raises(ValueError, match="empty"):
        try_layouts(tmp_path / "empty.csv")
    with pytest.raises(ValueError, match="cannot be read"):
        draft_layout(tmp_path / "gone.csv")


@pytest.mark.parametrize("layout", ["plain_words", "two_heading_rows", "workbook", "json_lines"])
def test_a_draft_from_plain_words_reads_its_file(tmp_path: Path, layout: str) -> None:
    (path,) = write_logs(invented_log(units=1, rows=20), tmp_path, {UNITS[0]: layout})
    draft = draft_layout(path)
    assert "GUESS" in draft
    mine = tmp_path / "mine"
    layout_folder(mine, "my_layout", draft)
    intake = read_logs([path], parsers=[mine], layout="my_layout")
    assert_accounted(intake)
    assert intake.log.height == 20
    assert intake.log["supply_air"].count() > 0


def test_a_draft_from_foreign_headings_marks_every_column_for_the_writer(tmp_path: Path) -> None:
    path = tmp_path / "foreign.csv"
    path.write_text('Qa;"Qb \\";Qc\n1;2;3\n')
    draft = draft_layout(path)
    tomllib.loads(draft)
    assert draft.count("# [[column]]") == 3


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("[text]", "[text]\nseperator = ','"), "text.seperator"),
        (("[text]", "[words]\na = 1\n[text]"), r"\[words\]"),
        (('channel = "supply_air"', 'channel = "blown_air"'), "blown_air"),
        (('unit = "°C"', 'unit = "bar"'), "cannot be measured"),
        (('unit = "°C"', 'unit = "furlong"'), "furlong"),
        (('delimiter = ","', 'delimiter = ",,"'), "one ASCII character"),
        (('zone = "UTC"', 'zone = "Mars/Phobos"'), "Mars/Phobos"),
        (('columns = ["When"]', "columns = []"), "time.columns"),
        (('heading = "Wanted"', 'heading = "blown"'), "declared twice"),
        (('columns = ["Box"]', 'file_name = "("'), "regular expression"),
        (('columns = ["Box"]', 'file_name = "[A-Z]+"'), "one group"),
        (('name = "small"', 'name = "Small"'), "folder's name"),
        (('name = "small"', 'name = "small"\nform = "fixed_width"'), "field"),
        (('name = "small"', 'name = "small"\nshape = "tag_value"'), "tags.tag"),
        (('name = "small"', 'name = "small"\nform = "magic"'), "layout.form"),
    ],
)
def test_a_declaration_is_refused_with_the_key_at_fault(change: tuple[str, str], words: str) -> None:
    assert parse_declaration(SMALL, "small").name == "small"
    with pytest.raises(DeclarationError, match=words):
        parse_declaration(SMALL.replace(*change), "small")
