"""The index: its first screen and its ranked list, and what no page may ever let through."""

from __future__ import annotations

import base64
import re
import zlib

import numpy as np
import plotly.offline
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
    one_page,
    pages,
    peer_groups,
    reasons,
    report_arguments,
    report_of,
    table,
    timeline,
)
from tests.report.outline import Outline

from coldsift import schema
from coldsift.report import HANDOVER, INDEX, FeatureWords, MessageView, SourceView

NAMES = [container(place + 1) for place in range(5)]


@pytest.fixture(scope="module")
def written() -> dict[str, str]:
    return pages()


@pytest.fixture(scope="module")
def html(written: dict[str, str]) -> str:
    return written[INDEX]


@pytest.fixture(scope="module")
def outline(html: str) -> Outline:
    return Outline(html)


def _index(**changes: object) -> str:
    return pages(5, 1, 3, **changes)[INDEX]


def _text(**changes: object) -> str:
    return Outline(_index(**changes)).text.replace("\u00a0", " ")


def _first_screen(html: str) -> str:
    start = html.index('class="opening"')
    return Outline(html[start : html.index('id="units"')]).text.replace("\u00a0", " ")


def _row(html: str, container: str) -> str:
    start = html.index(f'data-unit="unit-{container}"')
    return html[start : html.index("</tr>", start)]


def test_the_first_screen_says_how_many_go_now_which_why_and_what_to_check_first(html: str) -> None:
    said = _first_screen(html)
    assert "1 of 12 units needs someone now." in said
    for words in ("Go now", "This round", "Watch", "Nothing found", "Cannot tell"):
        assert words in said
    for words in (
        "QXAU0000016",
        "Split 0.3 K; 11 peers hold 1.9 to 2.9 K",
        "Air: outside its band now",
        "Cargo: not within 30 days",
        "Expansion valve does not open, about as likely as not (62 %)",
        "Check first: evaporator coil for ice, then fan current",
    ):
        assert words in said


def test_what_to_bring_is_gathered_over_the_units_of_now_and_of_this_round(html: str) -> None:
    start = html.index('class="bring"')
    bring = html[start : html.index("</section>", start)]
    assert "For the probable causes at the 2 units to go to now or on this round." in Outline(bring).text
    coil = bring[bring.index("expansion valve coil") :]
    assert "(for 1 unit)" in coil[: coil.index("</summary>")]
    assert f'href="units/{container(1)}.html"' in coil[: coil.index("</details>")]


def test_a_part_that_several_units_need_says_for_how_many() -> None:
    alike = causes(NAMES, np.repeat(likely(NAMES[:1], ["go_now"]), 5, axis=0))
    groups = ["go_now", "this_round", "this_round", "watch", "nothing_found"]
    page = _index(findings=findings(NAMES, group=groups), causes=alike)
    said = _first_screen(page)
    units = " ".join(NAMES[:3])
    assert f"expansion valve coil (for 3 units) {units}" in said
    assert f"multimeter (for 3 units) {units}" in said


def test_what_the_logs_lack_is_told_with_the_units_behind_it(html: str) -> None:
    said = _first_screen(html)
    assert f"no return air logged (for 1 unit) {container(12)}" in said
    assert "No log shows the cargo itself" in said


def test_notes_on_files_do_not_sound_like_something_the_logs_cannot_tell(html: str) -> None:
    note = MessageView("note", "invented/a.csv", 2, "32 lines repeat others; merged.", "")
    assert "could not be read as they stand" not in _text(messages=(note,))
    said = _first_screen(html)
    assert "1 message about files or lines that could not be read as they stand" in said


def test_nothing_found_is_never_called_safe(outline: Outline) -> None:
    text = outline.text
    assert "the log shows nothing odd; that is not the same as safe" in text
    assert "it never says that a unit is safe" in text
    allowed = ("not the same as safe", "does not mean safe", "never says that a unit is safe")
    rest = text
    for phrase in allowed:
        rest = rest.replace(phrase, "")
    assert not re.search(r"\bsafe\b", rest, re.IGNORECASE)


def test_without_an_urgent_unit_the_headline_does_not_give_the_all_clear() -> None:
    said = _first_screen(_index(findings=findings(NAMES, group=["watch"] * 5)))
    assert "No unit stands out as urgent in these logs." in said
    assert "That is not the all-clear" in said
    assert "Keep to the usual round" in said
    assert "need someone now" not in said
    assert "Bring" not in said


def test_without_an_urgent_unit_the_first_screen_shows_those_of_this_round() -> None:
    said = _first_screen(_index(findings=findings(NAMES, group=["this_round"] * 2 + ["watch"] * 3)))
    assert "No unit stands out as urgent in these logs." in said
    assert "Split 0.3 K; 11 peers hold 1.9 to 2.9 K" in said
    assert "For the probable causes at the 2 units to go to now or on this round." in said


def test_where_no_log_can_be_judged_every_unit_is_to_be_looked_at() -> None:
    blind = findings(NAMES, group=["cannot_tell"] * 5, cannot_tell=["no return air logged"] * 5)
    said = _first_screen(_index(findings=blind))
    assert "These logs are too poor to judge any unit." in said
    assert "look at all of them by hand" in said
    assert "no return air logged (for 5 units)" in said
    assert "No unit stands out" not in said


def test_logs_that_gave_nothing_still_make_a_page_that_says_where_to_look() -> None:
    empty = {name: table(schema.TABLES[name], []) for name in EMPTY}
    no_groups = peer_groups([])
    page = pages(
        **empty,
        timeline=timeline([container(1)]).clear(),
        sources=(),
        messages=(MessageView("error", "a.csv", 1, "No layout fits.", "Draft one."),),
        peer_groups=no_groups,
        peer_members=no_groups.select("peer_group", "container"),
        peer_bands=schema.PEER_BANDS.empty(),
    )[INDEX]
    said = Outline(page).text
    assert "No unit could be read from these files." in said
    assert "0 units" in said
    assert "no readings" in said
    assert "There is no unit to list." in said
    assert "No layout fits." in said


EMPTY = (
    "findings",
    "reasons",
    "features",
    "causes",
    "evidence",
    "excursions",
    "defrosts",
    "cargo",
    "unit_days",
    "voyage_events",
    "notes",
    "set_aside",
)


def test_every_row_leads_to_a_page_that_is_there(written: dict[str, str], outline: Outline) -> None:
    rows = {
        attributes["href"] or ""
        for tag, attributes in outline.elements
        if tag == "a" and (attributes.get("href") or "").startswith("units/")
    }
    assert len(rows) == 12
    assert rows < written.keys()
    assert len(outline.ids) == len(set(outline.ids))


def test_in_one_file_every_row_leads_to_a_section_that_is_there() -> None:
    outline = Outline(one_page())
    targets = {
        (attributes["href"] or "")[1:]
        for tag, attributes in outline.elements
        if tag == "a" and (attributes.get("href") or "").startswith("#unit-")
    }
    assert targets == {name for name in outline.ids if name.startswith("unit-")}
    assert len(targets) == 12
    assert len(outline.ids) == len(set(outline.ids))


def test_invented_data_say_so_at_the_top_and_real_data_do_not(written: dict[str, str]) -> None:
    for name in (INDEX, f"units/{container(1)}.html"):
        body = Outline(written[name][written[name].index("<body>") :]).text
        assert body.index("Invented data.") < body.index("Invented voyage, holds 1 to 3")
    assert "Invented data." not in _text(invented=False)


def test_urgency_is_three_parts_in_words(html: str) -> None:
    row = Outline(_row(html, "QXAU0000016")).text.replace("\u00a0", " ")
    assert "very likely (97 %)" in row
    assert "outside its band now" in row
    assert "in about 7 hours" in Outline(_row(html, "QXAU0000021")).text.replace("\u00a0", " ")


def test_cargo_weight_shows_only_where_one_was_given(outline: Outline) -> None:
    assert "Cargo weight" not in outline.text
    weighted = _text(findings=findings(NAMES, value_at_risk=[1.0, 3.0, 1.0, 1.0, 1.0]))
    assert "3.00 times an ordinary cargo" in weighted


def test_places_on_board_show_only_where_some_are_known(html: str) -> None:
    assert 'data-key="place"' not in html
    page = _index(findings=findings(NAMES, position=["0340684", "0100482", None, None, None]))
    assert "034\u202f06\u202f84" in _row(page, container(1))
    bays = page[page.index('<select id="bay">') :]
    assert re.findall(r'<option value="(.*?)"', bays[: bays.index("</select>")]) == ["", "010", "034", "–"]


def test_the_list_can_be_narrowed_only_by_what_differs(html: str) -> None:
    assert 'id="cause"' in html
    assert 'id="class"' in html
    assert 'id="cargo"' not in html  # every unit carries the same
    assert 'id="bay"' not in html
    mixed = pl.concat([cargo(NAMES[:3]), cargo(NAMES[3:], cargo="Bananas")])
    choices = _index(cargo=mixed)
    assert re.search(r'<option value="Bananas">Bananas \(2\)', choices)


def test_a_wrong_check_digit_is_marked() -> None:
    wrong = findings(NAMES, number_valid=[True, False, True, True, True])
    assert "check digit wrong" not in _text()
    assert _text(findings=wrong).count("check digit wrong") >= 2


def test_the_count_of_excursions_leaves_the_first_pull_down_apart(html: str) -> None:
    # The unit has one excursion and one warm load.
    assert re.search(r'class="excursions" data-value="(\d+)"', _row(html, "QXAU0000016"))[1] == "1"  # type: ignore[index]


def test_what_stands_behind_more_is_on_the_page_and_so_in_the_search(html: str) -> None:
    more = _row(html, "QXAU0000016")
    more = more[more.index("<details") :].replace("\u00a0", " ")
    for said in ("Outside its band for 20 h, peak 6.4 °C", "expansion valve coil", "multimeter"):
        assert said in more


def test_containers_that_differ_only_in_odd_characters_keep_separate_pages() -> None:
    names = ["QXAU 1", "QXAU-1", "«»"]
    written = pages(3, findings=findings(names), timeline=timeline(names, 2))
    assert {name for name in written if name.endswith(".html")} == {
        INDEX,
        HANDOVER,
        "units/QXAU-1.html",
        "units/QXAU-1-2.html",
        "units/unnamed.html",
    }


def test_a_container_named_like_a_device_still_gets_a_page_everywhere() -> None:
    names = ["con", "COM1"]
    written = pages(2, findings=findings(names), timeline=timeline(names, 2))
    assert {"units/unnamed.html", "units/unnamed-2.html"} <= written.keys()


def _scripts(outline: Outline) -> int:
    return [tag for tag, _ in outline.elements].count("script")


def test_hostile_text_from_logs_stays_text() -> None:
    name = f"QXAU000000{HOSTILE}"
    hostile = pages(
        5,
        1,
        3,
        findings=findings([name], why=[HOSTILE], first_check=[HOSTILE], cannot_tell=[HOSTILE]),
        reasons=reasons({name: (HOSTILE, HOSTILE)}),
        causes=causes([name], likely([name], ["go_now"])),
        evidence=evidence([name]).with_columns(words=pl.lit(HOSTILE)),
        timeline=timeline([name], 3),
        cargo=cargo([name], cargo=HOSTILE),
        excursions=table(schema.EXCURSIONS, [excursion(name, 10, along_with=HOSTILE, kind=HOSTILE)]),
        set_aside=table(
            schema.SET_ASIDE,
            [{"source": "s1", "file": HOSTILE, "row": 1, "reason": HOSTILE, "text": HOSTILE}],
        ),
        sources=(SourceView(HOSTILE, HOSTILE, HOSTILE, HOSTILE, 1, 1, 0, 0, HOSTILE, HOSTILE),),
        messages=(MessageView(HOSTILE, HOSTILE, 1, HOSTILE, HOSTILE),),
        parameters={HOSTILE: HOSTILE},
        feature_words={"split_hold": FeatureWords(*[HOSTILE] * 6)},
        title=HOSTILE,
    )
    plain = pages(1, 1, 3)
    for path, page in hostile.items():
        if not path.endswith(".html"):
            continue
        outline = Outline(page)
        like = plain[path if path in (INDEX, HANDOVER) else f"units/{container(1)}.html"]
        assert "alert(" not in "".join(re.findall(r"<script[^>]*>(.*?)</script>", page, re.DOTALL))
        assert _scripts(outline) == _scripts(Outline(like))
        assert '<script>alert("1")</script>‹U+202E›</details>' in outline.text
        assert "\u202e" not in page
        handlers = {key for _, attributes in outline.elements for key in attributes if key.startswith("on")}
        assert handlers == set()


def test_the_same_input_gives_the_same_bytes_in_any_row_order() -> None:
    arguments = report_arguments()
    written = report_of(arguments)
    assert report_of(arguments) == written
    for name, frame in arguments.items():
        if isinstance(frame, pl.DataFrame):
            arguments[name] = frame.reverse()
    assert report_of(arguments) == written


def test_no_page_points_outside_the_report(written: dict[str, str]) -> None:
    beside = {"../index.html", "shared.js", *written, *(f"../{name}" for name in written)}
    for path, page in written.items():
        if not path.endswith(".html"):
            continue
        outline = Outline(page)
        for tag, attributes in outline.elements:
            for key in ("src", "href", "action", "data", "poster", "srcset"):
                address = (attributes.get(key) or "#").partition("#")[0]
                assert address in ("", "data:,") or address in beside, (path, tag, address)
        policy = next(
            attributes["content"] or ""
            for _, attributes in outline.elements
            if attributes.get("http-equiv") == "Content-Security-Policy"
        )
        own = {INDEX: "script-src 'sha256-", HANDOVER: "script-src 'none'"}.get(
            path, "script-src 'self' 'sha256-"
        )
        assert policy.startswith(f"default-src 'none'; {own}")
        assert "unsafe-inline" not in policy.split(";")[1]


def test_the_chart_library_is_embedded_once_however_many_units(written: dict[str, str]) -> None:
    assert written["units/shared.js"].count("* plotly.js v") == 1
    deflated = r'<script type="text/plain" id="chart-library">([^<]*)</script>'
    for page in (written[INDEX], one_page()):
        (library,) = re.findall(deflated, page)
        assert zlib.decompress(base64.b64decode(library)).decode() == plotly.offline.get_plotlyjs()
    others = [page for name, page in written.items() if name not in (INDEX, "units/shared.js")]
    assert not [page for page in others if 'id="chart-library"' in page]
    assert not [page for page in others if "* plotly.js v" in page]


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


def test_every_unit_page_carries_the_cautions_in_short(written: dict[str, str]) -> None:
    for name, page in written.items():
        if name.startswith("units/") and name.endswith(".html"):
            assert "Mains voltage, rotating fans, gas under pressure, low oxygen." in page
            assert "it never says that a unit is safe" in page
