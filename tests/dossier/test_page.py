"""The page: what a court would hold in its hands, whatever the logs hold."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser

import polars as pl
import pytest

from coldsift import schema
from coldsift.dossier import build_dossier, charts
from coldsift.report.words import visible
from tests.dossier.reconstructed import CONTAINER, HOSTILE, LONG, at, bare, reconstruction
from tests.report.outline import Outline

MEGABYTE = 1_000_000
CHARTS = (
    *("air", "happened", "cargo", "probes", "supply", "peers", "edges"),
    *("air_close_up", "happened_close_up", "cargo_close_up", "peers_close_up"),
)


@pytest.fixture(scope="module")
def html() -> str:
    return build_dossier(reconstruction())


@pytest.fixture
def _undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """No charts, which take most of the time: for what stands in words and tables."""
    for name in CHARTS:
        monkeypatch.setattr(charts, name, lambda _: None)


class Tables(HTMLParser):
    """Tables of the page: headings with their units, and the cells below each."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[dict[str, list[str]]] = []
        self._rows: list[list[str]] = []
        self._cell: list[str] | None = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "table":
            self._rows = []
        elif tag == "tr":
            self._rows.append([])
        elif tag in ("td", "th"):
            self._cell = []

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th") and self._cell is not None:
            self._rows[-1].append(" ".join("".join(self._cell).split()))
            self._cell = None
        elif tag == "table":
            head, *body = self._rows
            self.found.append({name: [row[place] for row in body] for place, name in enumerate(head)})

    def handle_data(self, data: str) -> None:
        if self._cell is not None:
            self._cell.append(data)


def test_hostile_notes_stay_text(html: str) -> None:
    page = Outline(html)
    tags = {tag for tag, _ in page.elements}
    assert not tags & {"script", "iframe", "img", "object", "embed", "form", "base"}
    assert "<script" not in html
    assert not any(name.startswith("on") for _, attributes in page.elements for name in attributes)
    shown = re.sub(r"\s+", " ", visible(HOSTILE))
    # Answer, doubt, holder, place, alarm, note, cargo, gap, treatment, cause, sentence, file, row, parameter.
    assert page.text.count(shown) > 20
    assert "\u202e" not in html


def test_long_alarms_are_there_to_the_last_word(html: str) -> None:
    assert LONG.strip() in Outline(html).text


def test_a_text_beyond_all_measure_is_cut_and_says_so() -> None:
    of = reconstruction()
    endless = of.timeline.with_columns(
        alarms=pl.when(pl.int_range(pl.len()) == 900).then(pl.lit(["x" * 5000]))
    )
    page = Outline(build_dossier(replace(of, timeline=endless)))
    assert "(cut here, 5000 characters in all)" in page.text
    assert "x" * 601 not in page.text


def test_the_first_page_answers_before_it_explains(html: str) -> None:
    text = Outline(html).text
    of = reconstruction()
    order = [
        "Invented data.",
        f"Temperature dossier {CONTAINER}",
        "2026-01-05 00:00 to 2026-01-25 00:00 UTC",
        *(answer.question for answer in of.answers),
        "Figure 1.",
        "The main excursion in figures",
        "Began",
        "Mean kinetic temperature",
        "What happened, in order of time",
    ]
    places = [text.index(each, 0 if place == 0 else text.index(order[0])) for place, each in enumerate(order)]
    assert places == sorted(places)


def test_the_key_figures_are_those_of_the_main_excursion(html: str) -> None:
    of = reconstruction()
    main = of.excursions.filter(pl.col("start") == of.main_excursion).row(0, named=True)
    first = Outline(html).text.partition("What happened, in order of time")[0]
    for said in (
        f"Began {main['start']:%Y-%m-%d %H:%M} UTC between {main['start_earliest']:%Y-%m-%d %H:%M} and",
        f"Outside its band {main['hours']:.1f}\u00a0h at least {main['hours_at_least']:.1f}, at most "
        f"{main['hours_at_most']:.1f}\u00a0h",
        f"{main['gap_hours']:.1f}\u00a0h in it without readings",
        f"Furthest reading {main['peak']:.1f}\u00a0°C",
        f"{main['degree_hours']:.1f}\u00a0K h at least {main['degree_hours_at_least']:.1f}, at most "
        f"{main['degree_hours_at_most']:.1f}\u00a0K h",
        "That the probe erred, not the air very unlikely",
    ):
        assert re.sub(r"\s+", " ", said) in re.sub(r"\s+", " ", first)


@pytest.mark.usefixtures("_undrawn")
def test_what_was_not_reckoned_is_not_made_up() -> None:
    of = reconstruction()
    unknown = [
        pl.lit(None, dtype=pl.Float64).alias(name)
        for name in ("hours_at_most", "degree_hours_at_most", "peak_at_most", "mean_kinetic_temperature")
    ]
    page = Outline(build_dossier(replace(of, excursions=of.excursions.with_columns(unknown))))
    assert page.text.count("at least and at most: not reckoned") == 2


def test_nothing_is_fetched_and_nothing_runs(html: str) -> None:
    page = Outline(html)
    for _, attributes in page.elements:
        for name in ("href", "src", "action", "srcset"):
            assert (attributes.get(name) or "#").startswith(("#", "data:,"))
    assert not re.search(r"url\((?!#)|@import|https?:", html)
    policy = next(
        attributes["content"]
        for tag, attributes in page.elements
        if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert "script-src" not in policy
    # No style but the one that the policy names by its digest.
    styles = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    assert len(styles) == 1
    assert base64.b64encode(hashlib.sha256(styles[0].encode()).digest()).decode() in policy
    assert not any("style" in attributes for _, attributes in page.elements)


def test_ids_are_unique_and_every_link_leads_somewhere(html: str) -> None:
    page = Outline(html)
    assert len(page.ids) == len(set(page.ids))
    links = [attributes.get("href") for tag, attributes in page.elements if tag in ("a", "use")]
    assert links
    assert {link[1:] for link in links if link} <= set(page.ids)
    assert set(re.findall(r"url\(#([^)]+)\)", html)) <= set(page.ids)


def test_the_same_input_gives_the_same_bytes(html: str) -> None:
    assert build_dossier(reconstruction()) == html


def test_sixty_days_at_fifteen_minutes_stay_well_under_three_megabytes() -> None:
    of = reconstruction(60)
    assert of.timeline.height > 5500
    assert len(build_dossier(of).encode()) < 3 * MEGABYTE


def test_every_table_column_has_its_unit(html: str) -> None:
    tables = Tables(html).found
    assert len(tables) == 13
    for table in tables:
        for heading, cells in table.items():
            values = [cell for cell in cells if cell not in ("", "–")]
            if all(re.fullmatch(r"[−\d.\u202f]+( to [−\d.\u202f]+)*", cell) for cell in values):
                assert re.search(r"\[(h|°C|K|K h|d|min|count)\]", heading) or heading in ("Day", "Line"), (
                    heading
                )
            if all(re.match(r"\d{4}-\d\d-\d\d \d\d:\d\d", cell) for cell in values):
                assert heading.endswith("[UTC]"), heading


def test_every_file_has_its_digest_and_its_rows_add_up(html: str) -> None:
    text = Outline(html).text
    for source in reconstruction().sources:
        assert source.sha256 in text
        assert source.rows == source.used + source.merged + source.set_aside
    assert "2 000 rows read = 1 894 used + 96 merged + 10 set aside" in text


@pytest.mark.usefixtures("_undrawn")
def test_long_tables_say_what_they_leave_out() -> None:
    of = reconstruction()
    rises = pl.concat(
        [
            of.defrost_rises.with_columns(pl.col("start", "end") + timedelta(days=30 * month))
            for month in range(4)
        ]
    )
    page = Outline(build_dossier(replace(of, defrost_rises=schema.DEFROST_RISES.conform(rises))))
    assert "116 of 120 within their rule. Not shown: 80 of 120 rows" in page.text
    assert "Common practice, no source: Warm air in a defrost" in page.text
    # Those that go beyond their rule are never the ones left out.
    assert page.text.count("beyond the rule") == 4


def test_missing_parts_are_said_in_words() -> None:
    page = Outline(build_dossier(bare()))
    for said in (
        "No excursion stands out in this window",
        "No custody events were given: who had the container when is not known.",
        "The controlling air was never outside its band for longer than the grace time in this window.",
        "there is nothing to compare with",
        "No cause was weighed",
        "No row of this container was set aside.",
        "Nothing was there to check the clock against.",
    ):
        assert said in page.text, said
    assert "Cold treatment" not in page.text
    assert "Invented data" not in page.text
    assert "None" not in page.text.replace("None of", "")
    assert "check digit wrong" not in page.text


@pytest.mark.parametrize(
    "parts",
    [
        ("timeline",),
        ("excursions",),
        ("main_excursion", "excursion_parts", "sensitivity"),
        ("cargo", "events", "defrosts", "clock_checks"),
        ("cargo_temperatures", "custody", "sources", "answers"),
        ("peers", "gaps", "notes", "causes", "treatment"),
    ],
    ids=" ".join,
)
def test_parts_may_be_missing_while_others_are_there(parts: tuple[str, ...]) -> None:
    of = reconstruction()
    gone: dict[str, object] = {}
    for part in parts:
        value = getattr(of, part)
        gone[part] = (
            value.clear() if isinstance(value, pl.DataFrame) else () if isinstance(value, tuple) else None
        )
    assert CONTAINER in Outline(build_dossier(replace(of, **gone))).text  # type: ignore[arg-type]


def test_a_single_reading_makes_a_dossier() -> None:
    of = bare()
    alone = replace(
        of, timeline=of.timeline.head(1), start=of.timeline["time"][0], end=of.timeline["time"][0]
    )
    assert "Figure 1." in Outline(build_dossier(alone)).text


def test_a_frozen_unit_that_grew_too_warm_has_no_lower_edge() -> None:
    of = reconstruction()
    frozen = of.timeline.with_columns(band_low=pl.lit(None, dtype=pl.Float64))
    assert "Figure 2." in Outline(build_dossier(replace(of, timeline=frozen))).text


@pytest.mark.usefixtures("_undrawn")
def test_the_comparison_says_ship_or_box(html: str) -> None:
    assert "this speaks for the box, not the ship" in Outline(html).text
    of = reconstruction()
    shared = of.peers.with_columns(outside=pl.col("units"))
    assert "speaks for a cause that the ship shared" in Outline(build_dossier(replace(of, peers=shared))).text
    others = of.peers.with_columns(outside=pl.col("units") // 3)
    assert "neither box nor ship stands out" in Outline(build_dossier(replace(of, peers=others))).text


def test_only_the_authority_decides_on_a_treatment(html: str) -> None:
    text = Outline(html).text
    assert "Only the authority decides" in text
    days = next(table for table in Tables(html).found if "Cargo probe 1 [°C]" in table)
    assert days["Cargo probe 1 [°C]"][11].startswith("✗ break 3.9")
    assert days["Cargo probe 1 [°C]"][2].startswith("? ")
    assert len(days["Day"]) == 14


@pytest.mark.usefixtures("_undrawn")
def test_an_excursion_that_had_not_ended_says_so() -> None:
    of = reconstruction()
    nothing = pl.lit(None, dtype=schema.TIME)
    ongoing = of.excursions.with_columns(end_latest=nothing, start_earliest=nothing)
    text = Outline(build_dossier(replace(of, excursions=ongoing))).text
    assert re.search(r"Began before 2026-01-16 \d\d:\d\d UTC the readings begin outside the band", text)
    assert re.search(r"Ended not before 2026-01-17 \d\d:\d\d UTC not ended at the last reading", text)


def test_a_container_number_cannot_leave_the_page_margin() -> None:
    of = replace(bare(), container='X"; } body { display: none } </style><b>\\')
    html = build_dossier(of)
    style = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)[0]
    assert '@top-left { content: "X\\000022\\00003b\\000020\\00007d' in style
    assert "display: none }\n" not in style.partition("@top-left")[2]
    assert "<b>" not in style


def test_dates_do_not_break_at_their_hyphens(html: str) -> None:
    assert html.count('<span class="date">2026-01-16</span>') > 20
    assert "&lt;span class=" not in html


def test_an_excursion_of_no_length_at_the_very_start_can_be_drawn() -> None:
    of = reconstruction()
    moved = of.excursions.head(1).with_columns(
        pl.lit(at(0)).cast(schema.TIME).alias(name)
        for name in ("start", "end", "start_latest", "end_earliest")
    )
    assert build_dossier(replace(of, excursions=moved, main_excursion=at(0)))
