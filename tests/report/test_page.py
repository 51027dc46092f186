"""What the report says, and what it must never let through."""

from __future__ import annotations

import json
import re

import polars as pl
import pytest
from tests.report.fleet import (
    HOSTILE,
    cargo,
    causes,
    container,
    evidence,
    excursion,
    findings,
    likely,
    report_arguments,
    table,
    timeline,
)
from tests.report.outline import Outline

from coldsift import schema
from coldsift.report import FeatureWords, MessageView, SourceView, build_report


@pytest.fixture(scope="module")
def html() -> str:
    return build_report(**report_arguments())


@pytest.fixture(scope="module")
def outline(html: str) -> Outline:
    return Outline(html)


def _text(**changes: object) -> str:
    return Outline(build_report(**report_arguments(5, 1, 3, **changes))).text


def test_the_first_screen_counts_the_groups_and_names_the_units_to_go_to(outline: Outline) -> None:
    text = outline.text
    assert "1 of 12 units needs someone now." in text
    assert text.index("QXAU0000016") < text.index("Units in the order to inspect")
    for words in ("Go now", "This round", "Watch", "Nothing found", "Cannot tell"):
        assert words in text
    assert "Split 0.3 K; 11 peers hold 1.9 to 2.9 K" in text
    assert re.search(rf"no return air logged \(1 unit: {container(12)} ?\)", text)


def test_nothing_found_is_never_called_safe(outline: Outline) -> None:
    text = outline.text
    assert "the log shows nothing odd; that is not the same as safe" in text
    assert "it never says that a unit is safe" in text
    allowed = ("not the same as safe", "never says that a unit is safe")
    rest = text
    for phrase in allowed:
        rest = rest.replace(phrase, "")
    assert not re.search(r"\bsafe\b", rest, re.IGNORECASE)


def test_without_an_urgent_unit_the_headline_does_not_give_the_all_clear() -> None:
    names = [container(place + 1) for place in range(5)]
    text = _text(findings=findings(names, group=["watch"] * 5))
    assert "No unit stands out as urgent in these logs." in text
    assert "need someone now" not in text


def test_every_unit_has_a_section_and_the_list_links_to_it(outline: Outline) -> None:
    targets = {
        attributes["href"][1:]
        for tag, attributes in outline.elements
        if tag == "a" and (attributes.get("href") or "").startswith("#unit-")
    }
    sections = {name for name in outline.ids if name.startswith("unit-")}
    assert targets == sections
    assert len(sections) == 12
    assert len(outline.ids) == len(set(outline.ids))


def test_invented_data_say_so_at_the_top_and_real_data_do_not(outline: Outline) -> None:
    body = outline.text[outline.text.index("Skip to the list") :]
    assert body.index("Invented data.") < body.index("Invented voyage, holds 1 to 3")
    assert "Invented data." not in _text(invented=False)


def test_urgency_is_three_parts_in_words(outline: Outline) -> None:
    text = outline.text
    assert "very likely (97 %)" in text.replace("\u00a0", " ")
    assert "outside its band now" in text
    assert "in about 7 hours" in text.replace("\u00a0", " ")
    assert "as every other cargo (no weight given)" in text


def test_cargo_weight_shows_only_where_one_was_given(outline: Outline) -> None:
    names = [container(place + 1) for place in range(5)]
    assert "Cargo weight" not in outline.text
    weighted = _text(findings=findings(names, value_at_risk=[1.0, 3.0, 1.0, 1.0, 1.0]))
    assert "3.00 times an ordinary cargo" in weighted


def test_a_wrong_check_digit_is_marked() -> None:
    names = [container(place + 1) for place in range(5)]
    wrong = findings(names, number_valid=[True, False, True, True, True])
    assert "check digit wrong" not in _text()
    assert _text(findings=wrong).count("check digit wrong") >= 2


def test_an_excursion_shows_what_the_log_interval_leaves_open(outline: Outline) -> None:
    text = outline.text
    assert "between 2031-03-11 09:45 and 2031-03-11 10:00" in text
    assert "or earlier: no reading before it is surely inside" in text
    name = container(1)
    running = table(schema.EXCURSIONS, [excursion(name, end_latest=None)])
    assert "not ended at the last reading" in _text(excursions=running)


def test_the_count_of_excursions_leaves_the_first_pull_down_apart(html: str) -> None:
    row = html[html.index('data-unit="unit-QXAU0000016"') :]
    count = re.search(r'data-key="excursions" data-value="(\d+)"', row)
    assert count is not None
    assert count[1] == "1"  # the unit has one excursion and one warm load


def test_features_stand_beside_their_peers_and_say_why_they_are_missing(outline: Outline) -> None:
    text = outline.text.replace("\u00a0", " ")
    assert "Split in hold hold 0.30 K 1.92 to 2.88, middle 2.40 (11 units) −7.2 odd" in text
    assert "no pull-down in the log" in text


def test_every_row_of_every_file_is_accounted_for_on_the_page(outline: Outline) -> None:
    text = outline.text
    assert "1349 rows read = 1340 used + 4 merged + 5 set aside" in text
    assert "time stamp not readable whole line 2" in text
    assert "invented/hold_2.csv, line 10: 31/02/2031;0" in text
    assert "What to do: Mend the line or leave it: it was set aside." in text
    assert "ab12" * 16 in text


def test_notes_on_files_do_not_sound_like_something_the_logs_cannot_tell(outline: Outline) -> None:
    note = MessageView("note", "invented/a.csv", 2, "32 lines repeat others; merged.", "")
    text = _text(messages=[note])
    assert "Notes on the files (1)" in text
    assert "could not be read as they stand" not in text
    assert "could not be read as they stand: 1 message" in outline.text


def test_ship_wide_events_are_listed_once(outline: Outline) -> None:
    assert outline.text.count("2031-03-05 04:00") == 1
    assert "held against no single unit" in outline.text


def test_the_method_states_parameters_formulas_and_sources(outline: Outline) -> None:
    for words in ("± 2.0 K", "median of return air − supply air", "common practice, no source"):
        assert words in outline.text


@pytest.mark.parametrize(
    "hazard",
    [
        "Mains voltage",
        "Rotating fans",
        "Refrigerant under pressure",
        "Controlled atmosphere",
        "oxygen",
        "Heights",
        "stacks",
        "lock out",
        "licensed",
        "the law where you are",
    ],
)
def test_the_usual_cautions_are_there(outline: Outline, hazard: str) -> None:
    assert hazard in outline.text


def test_a_log_that_gave_nothing_still_makes_a_page() -> None:
    empty = {name: table(schema.TABLES[name], []) for name in _TABLES}
    page = build_report(
        **report_arguments(
            **empty, timeline=timeline([container(1)]).clear(), sources=[], messages=[], reasons={}
        )
    )
    text = Outline(page).text
    assert "0 units" in text
    assert "no readings" in text


_TABLES = (
    "findings",
    "features",
    "causes",
    "evidence",
    "excursions",
    "defrosts",
    "voyage_events",
    "set_aside",
)


def test_hostile_text_from_logs_stays_text() -> None:
    name = f"QXAU000000{HOSTILE}"
    arguments = report_arguments(
        5,
        1,
        3,
        findings=findings([name], why=[HOSTILE], first_check=[HOSTILE], cannot_tell=[HOSTILE]),
        causes=causes([name], likely([name], ["go_now"])),
        evidence=evidence([name]).with_columns(words=pl.lit(HOSTILE)),
        timeline=timeline([name], 3),
        excursions=table(schema.EXCURSIONS, [excursion(name, 10, along_with=HOSTILE, kind=HOSTILE)]),
        set_aside=table(
            schema.SET_ASIDE,
            [{"source": "s1", "file": HOSTILE, "row": 1, "reason": HOSTILE, "text": HOSTILE}],
        ),
        sources=[SourceView(HOSTILE, HOSTILE, HOSTILE, HOSTILE, 1, 1, 0, 0, HOSTILE, HOSTILE)],
        messages=[MessageView(HOSTILE, HOSTILE, 1, HOSTILE, HOSTILE)],
        parameters={HOSTILE: HOSTILE},
        feature_words={"split_hold": FeatureWords(*[HOSTILE] * 6)},
        reasons={name: (HOSTILE,)},
        title=HOSTILE,
    )
    page = build_report(**arguments)
    plain = Outline(build_report(**report_arguments(1, 1, 3)))
    outline = Outline(page)
    assert "alert(" not in "".join(re.findall(r"<script[^>]*>(.*?)</script>", page, re.DOTALL))
    assert [tag for tag, _ in outline.elements].count("script") == [tag for tag, _ in plain.elements].count(
        "script"
    )
    assert '<script>alert("1")</script>‹U+202E›</details>' in outline.text
    assert "\u202e" not in page
    handlers = {key for _, attributes in outline.elements for key in attributes if key.startswith("on")}
    assert handlers == set()


def test_containers_that_differ_only_in_odd_characters_keep_separate_sections() -> None:
    names = ["QXAU 1", "QXAU-1", "«»"]
    page = Outline(build_report(**report_arguments(3, findings=findings(names), timeline=timeline(names, 2))))
    assert [name for name in page.ids if name.startswith("unit-")] == [
        "unit-QXAU-1",
        "unit-QXAU-1-2",
        "unit-unnamed",
    ]


def test_the_same_input_gives_the_same_bytes_in_any_row_order(html: str) -> None:
    arguments = report_arguments()
    assert build_report(**arguments) == html
    for name, frame in arguments.items():
        if isinstance(frame, pl.DataFrame):
            arguments[name] = frame.reverse()
    assert build_report(**arguments) == html


def test_nothing_on_the_page_points_outside_it(outline: Outline) -> None:
    for tag, attributes in outline.elements:
        for key in ("src", "href", "action", "data", "poster", "srcset"):
            address = attributes.get(key)
            assert address is None or address.startswith(("#", "data:,")), (tag, address)
    policy = next(
        attributes["content"]
        for _, attributes in outline.elements
        if attributes.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe-inline" not in policy.split(";")[1]


def test_the_chart_library_is_embedded_once_however_many_units(html: str) -> None:
    assert html.count("* plotly.js v") == 1
    assert html.count('class="figure-data"') == 12


def test_charts_are_stored_as_json_that_a_script_element_can_hold(html: str) -> None:
    figures = re.findall(r'<script type="application/json" class="figure-data">(.*?)</script>', html)
    for figure in figures:
        assert "<" not in figure
        assert json.loads(figure)["layout"]["meta"]["start"] == "2031-03-01T00:00:00Z"


def test_a_unit_costs_less_than_forty_kilobytes_in_a_long_voyage() -> None:
    small, large = (len(build_report(**report_arguments(count, 1, 60)).encode()) for count in (2, 6))
    assert (large - small) / 4 < 40_000


def test_only_the_features_furthest_from_the_peers_are_shown_and_the_rest_counted() -> None:
    every = report_arguments(5, 1, 3)["features"]
    one = every.filter(pl.col("value").is_not_null()).head(1)
    many = pl.concat(
        one.with_columns(feature=pl.lit(f"feature_{place:02}"), z=pl.lit(float(place))) for place in range(35)
    )
    text = _text(features=many)
    assert "feature 34" in text
    assert "feature 04" not in text
    assert "5 more lie nearer to the peers" in text


def test_the_card_says_with_whom_the_unit_was_compared() -> None:
    names = [container(1)]
    told = findings(names, compared_with=["13 other units: chilled; fewer than 8 are more alike"])
    assert "Compared with 13 other units: chilled; fewer than 8 are more alike" in _text(findings=told)


def test_the_card_says_what_the_cargo_is_and_how_long_it_has() -> None:
    text = _text()
    assert "Cargo has, if the unit stops now 40.0 h (22.0 h to more than 30 days)" in text
    assert "Cargo has, as it goes on not within 30 days" in text
    assert "outer −18.0 (−18.4 to −17.3), core −18.0 (−18.4 to −17.3) °C" in text
    assert "fitted to the cargo probes within 0.3 K" in text
    assert "not above −15.0 °C: quick-frozen rule" in text
    assert "not reckoned" in text


def test_a_cargo_past_its_limit_is_not_given_hours() -> None:
    names = [container(place + 1) for place in range(5)]
    past = cargo(names, hours_as_now=0.0, hours_as_now_low=0.0, hours_as_now_high=0.0)
    assert "Cargo has, as it goes on past its limit now" in _text(cargo=past)
