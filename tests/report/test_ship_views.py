"""The ship in the report: places by bay, the round, papers, work, spares, and the hand-over sheet."""

from __future__ import annotations

import re
from typing import Any

import polars as pl
import pytest
from tests.report.fleet import HOSTILE, container, findings, material_of, pages, report_of, table
from tests.report.outline import Outline
from tests.report.ship import (
    PLACES,
    WANTED,
    changes,
    inspection,
    notes,
    parts,
    plan,
    repairs,
    ship_arguments,
)

from coldsift import schema
from coldsift.report import HANDOVER, INDEX, words
from coldsift.report.page import _place_on_page
from coldsift.report.ship_model import Bay, ShipView
from coldsift.report.ship_views import CHANGES, ORDERS, REPAIR_STATES, VERDICTS, ship_view
from coldsift.report.stowage_views import draw_bays
from coldsift.report.views import list_rows

UNITS = 12
NAMES = [container(place + 1) for place in range(UNITS)]


def _view(**changed: Any) -> ShipView:
    own = material_of(ship_arguments(UNITS, **changed))
    return ship_view(own, list_rows(own, {}, _place_on_page))


def _bays(boxes: dict[str, str], logged: tuple[str, ...] = (), **columns: Any) -> tuple[Bay, ...]:
    """Bays of boxes at places; those that are logged are units of the list."""
    rows = [
        {"container": name, "position": place, "refrigerated": True, "line": line, **columns}
        for line, (name, place) in enumerate(boxes.items(), start=2)
    ]
    own = material_of(ship_arguments(UNITS, findings=findings(list(logged)), round=schema.ROUND.empty()))
    return draw_bays(table(schema.PLAN, rows), list_rows(own, {}, _place_on_page), {})[0]


@pytest.fixture(scope="module")
def written() -> dict[str, str]:
    return report_of(ship_arguments(UNITS))


@pytest.fixture(scope="module")
def index(written: dict[str, str]) -> Outline:
    return Outline(written[INDEX])


# ------------------------------------------------------------ the plan by bay


def test_looking_forward_even_rows_are_to_port_on_the_left_and_odd_ones_to_starboard() -> None:
    (bay,) = _bays({"A": "0100482", "B": "0100082", "C": "0100382"})
    assert bay.stacks == ("04", "02", "00", "01", "03")
    assert {slot.container: slot.column for slot in bay.slots} == {"A": 1, "B": 5, "C": 9}


def test_without_a_box_on_the_centreline_there_is_no_row_there() -> None:
    (bay,) = _bays({"A": "0100182"})
    assert bay.stacks == ("02", "01")


def test_what_stands_higher_is_drawn_higher_and_the_hold_below_the_hatch() -> None:
    (bay,) = _bays({"A": "0100086", "B": "0100082", "C": "0100008", "D": "0100002"})
    assert (bay.deck, bay.hold) == (("86", "84", "82"), ("08", "06", "04", "02"))
    # The hatch lies on the fourth line.
    assert {slot.container: slot.line for slot in bay.slots} == {"A": 1, "B": 3, "C": 5, "D": 8}


def test_a_deck_is_drawn_from_its_first_tier_though_only_higher_ones_are_taken() -> None:
    (bay,) = _bays({"A": "0100086"})
    assert (bay.deck, bay.hold) == (("86", "84", "82"), ())


def test_two_boxes_of_20_ft_share_the_place_of_one_of_40_ft_the_forward_one_on_the_left() -> None:
    (bay,) = _bays({"AFT": "0110082", "FORE": "0090082", "WHOLE": "0100084"})
    assert (bay.name, bay.halves) == ("10", ("09", "11"))
    drawn = {slot.container: (slot.column, slot.columns, slot.line) for slot in bay.slots}
    assert drawn == {"WHOLE": (1, 2, 1), "FORE": (1, 1, 2), "AFT": (2, 1, 2)}
    assert bay.doubled == ()


@pytest.mark.parametrize(
    ("odd", "pair"), [("0010082", "02"), ("0030082", "02"), ("0050082", "06"), ("0110082", "10")]
)
def test_an_odd_bay_alone_is_a_half_of_the_bay_it_is_counted_to(odd: str, pair: str) -> None:
    # GDV Container Handbook, 1.3.3: 02 covers 01 and 03.
    assert [bay.name for bay in _bays({"A": odd})] == [pair]


def test_an_odd_bay_goes_to_the_only_neighbour_that_the_plan_knows() -> None:
    # A ship that counts 04 over 03 and 05.
    assert [bay.name for bay in _bays({"A": "0050082", "B": "0040082"})] == ["04"]


def test_bays_come_from_the_bow() -> None:
    assert [bay.name for bay in _bays({"A": "0380082", "B": "0020082", "C": "1020082"})] == [
        "02",
        "38",
        "102",
    ]


def test_two_boxes_in_one_place_are_both_told() -> None:
    (bay,) = _bays({NAMES[0]: "0100082", "QXAU9999999": "0100082"}, logged=(NAMES[0],))
    assert [slot.container for slot in bay.slots] == [NAMES[0]]
    assert [slot.container for slot in bay.doubled] == ["QXAU9999999"]


def test_a_40_ft_box_over_a_half_that_is_taken_is_told_as_well() -> None:
    (bay,) = _bays({"HALF": "0090082", "WHOLE": "0100082"})
    assert {slot.container for slot in (*bay.slots, *bay.doubled)} == {"HALF", "WHOLE"}
    assert len(bay.doubled) == 1


def test_dry_boxes_and_their_bays_are_not_drawn() -> None:
    assert _bays({"A": "0100082"}, refrigerated=False) == ()


def test_a_place_that_is_none_leaves_the_box_out() -> None:
    assert _bays({"A": "upper deck"}) == ()


def test_a_place_in_the_list_counts_before_the_plan_s() -> None:
    names = NAMES[:1]
    own = material_of(ship_arguments(UNITS, findings=findings(names, position=["0140082"])))
    rows = list_rows(own, {}, _place_on_page)
    bays, homeless = draw_bays(plan(names, unlogged=0), rows, {})
    assert [bay.name for bay in bays] == ["14"]
    assert homeless == ()


def test_places_from_the_facts_alone_give_a_plan_too() -> None:
    view = _view(plan=schema.PLAN.empty(), unmatched=schema.UNMATCHED.empty())
    assert {slot.container for bay in view.bays for slot in bay.slots} == set(NAMES[:-1])
    assert [row.container for row in view.homeless] == NAMES[-1:]


def test_without_plan_and_places_there_is_no_plan() -> None:
    view = _view(plan=schema.PLAN.empty(), findings=findings(NAMES))
    assert (view.bays, view.homeless) == ((), ())


def test_every_box_is_a_link_to_its_card_that_says_number_place_and_group(index: Outline) -> None:
    slots = {
        attributes["aria-label"]: (tag, attributes.get("href"))
        for tag, attributes in index.elements
        if (attributes.get("class") or "").startswith("slot ") and "aria-label" in attributes
    }
    assert slots["QXAU0000016, bay 10 row 06 tier 82, go now, stop 1 of the round"] == (
        "a",
        "units/QXAU0000016.html",
    )
    assert slots["QXAU0000079, bay 09 row 05 tier 82, nothing found"][0] == "a"
    assert slots["QXAU0090010, bay 10 row 00 tier 84, no log, to be kept at −18.0\u00a0°C"] == ("span", None)
    assert slots["QXAU0090025, bay 10 row 01 tier 84, no log, empty"] == ("span", None)
    assert len(slots) == UNITS - 1 + 2


def test_the_plan_says_from_where_it_is_seen(index: Outline) -> None:
    assert "seen looking forward : even rows to port" in index.text


# ------------------------------------------------------------ the round


def test_the_round_tells_every_stop_in_order_with_its_minutes() -> None:
    own = _view(**{"round": inspection(findings(NAMES, position=[*PLACES[:11], None]), 1)}).inspection
    assert own is not None
    assert [stop.row.container for stop in own.stops] == NAMES[:2]
    assert [(stop.walk, stop.work, stop.elapsed) for stop in own.stops] == [
        ("2\u00a0min", "8\u00a0min", "10\u00a0min"),
        ("2\u00a0min", "8\u00a0min", "20\u00a0min"),
    ]
    assert (own.total, own.walking, own.working) == ("20\u00a0min", "4\u00a0min", "16\u00a0min")
    assert (own.hours, own.within, own.within_time) == ("10\u00a0min", 1, "10\u00a0min")


def test_without_places_a_round_is_shown_only_where_hours_were_given_for_it() -> None:
    nowhere = {
        "findings": findings(NAMES),
        "plan": schema.PLAN.empty(),
        "unmatched": schema.UNMATCHED.empty(),
    }
    assert _view(**nowhere, round_hours=4.0).inspection is not None
    assert _view(**nowhere, round_hours=None).inspection is None


def test_a_line_shows_where_the_hours_given_run_out(written: dict[str, str]) -> None:
    page = written[INDEX].replace("\u00a0", " ")
    line = page.index("After this the 10 min given are used up; left for the next round:")
    stops = [match.start() for match in re.finditer(r'<td role="cell" class="where-to', page)]
    assert len(stops) == 2
    assert stops[0] < line < stops[1]


def test_without_hours_there_is_no_such_line_nor_where_they_are_enough() -> None:
    for within, hours in ((2, None), (2, 4.0)):
        arguments = ship_arguments(UNITS, within=within) | {"round_hours": hours}
        page = report_of(arguments)[INDEX]
        assert "are used up" not in page
        assert "2 stops" in page


def test_lengths_of_work_are_told_in_hours_and_minutes() -> None:
    told = [words.minutes(each) for each in (0.0, 59.6, 85.0, 120.0, None)]
    assert told == ["0\u00a0min", "1\u00a0h", "1\u00a0h 25\u00a0min", "2\u00a0h", "–"]


# ------------------------------------------------------------ plan and papers against logs


def test_boxes_without_a_log_and_logs_without_a_place_are_listed_and_told_on_the_first_screen(
    index: Outline,
) -> None:
    assert "2 boxes of the plan without a log" in index.text
    assert "1 log without a place on the plan" in index.text
    listed = index.text[index.text.index("On the plan, without a log") :]
    assert listed.index("QXAU0090010") < listed.index("With a log, without a place on the plan")
    assert "unmatched" in index.ids


def test_set_points_that_differ_now_are_told_on_the_first_screen_late_corrections_are_not() -> None:
    assert [container for container, _ in _view().differing] == [NAMES[1]]


def test_a_card_tells_ordered_and_logged_set_point_and_for_how_long(written: dict[str, str]) -> None:
    card = Outline(written[f"units/{NAMES[1]}.html"]).text
    section = card[card.index("Ordered set point") :]
    assert "Set to −16.7 °C, but the booking orders 2.0 °C" in section
    for told in ("2.0 °C", "−16.7 °C", "2031-03-01 12:00", "end of the log", "12.5 days"):
        assert told in section
    late = Outline(written[f"units/{NAMES[2]}.html"]).text
    assert "corrected late" in late[late.index("Ordered set point") :]


def test_a_card_whose_set_point_is_as_ordered_says_so_in_one_line(written: dict[str, str]) -> None:
    card = Outline(written[f"units/{NAMES[3]}.html"]).text
    assert "as ordered (booking)" in card
    assert "Ordered set point" not in card


def test_a_reason_that_is_an_order_opens_on_the_order() -> None:
    said = "Set to −16.7 °C, but the booking orders 2.0 °C"
    reasons = table(schema.REASONS, [{"container": NAMES[1], "place": 1, "words": said, "kind": "order"}])
    page = report_of(ship_arguments(UNITS, reasons=reasons))[f"units/{NAMES[1]}.html"]
    reason = page[page.index('<ol class="reasons">') :]
    reason = reason[: reason.index("</ol>")]
    assert "<details" in reason
    assert "differs: °C and °F mistaken" in reason


# ------------------------------------------------------------ work and spares


def test_a_repair_on_the_card_says_what_followed(written: dict[str, str]) -> None:
    card = Outline(written[f"units/{NAMES[1]}.html"]).text
    seen = card[card.index("What people saw and did") :]
    assert "recovered" in seen[: seen.index("Excursions")]
    assert "Split 1.1 K before, 1.2 K since; good was 2.4 K" in seen


def test_the_repairs_of_all_units_stand_in_one_table_the_latest_first() -> None:
    assert [done.container for done in _view().repairs] == [NAMES[2], NAMES[1], NAMES[0]]
    assert _view().verdicts == ((1, "better"), (1, "recovered"), (1, "unchanged"))


def test_a_note_that_is_no_repair_has_no_verdict() -> None:
    noted = notes(NAMES).with_columns(action=pl.lit(None, pl.String), part=pl.lit(None, pl.String))
    view = _view(notes=noted, repairs=schema.REPAIRS.empty())
    assert view.repairs == ()


def test_a_repair_at_a_unit_without_a_log_is_listed() -> None:
    noted = notes([container(4321)])
    view = _view(notes=noted, repairs=repairs(noted))
    assert [(done.container, done.row) for done in view.repairs] == [(container(4321), None)]


def test_spares_tell_what_is_left_and_lacking_the_lacking_first() -> None:
    told = [(each.part, each.on_board, each.left, each.short, each.listed) for each in _view().spares]
    assert told == [
        ("Coil, exp. valve", "2", "1", "2", True),
        ("fan motor", "4", "4", "", True),
        ("drain heater", "–", "–", "", False),
    ]


def test_which_repairs_can_be_done_is_told_unit_by_unit() -> None:
    needs = _view().needs.shown
    assert [(need.row.container, need.possible, len(need.ways)) for need in needs] == [
        (NAMES[0], 2, 2),
        (NAMES[1], 1, 2),
        (NAMES[2], 0, 2),
    ]
    assert [(way.repair, way.state) for way in needs[2].ways] == [
        ("Way 1", "not in the spares list"),
        ("Way 2", "too few on board"),
    ]


def test_what_to_bring_says_how_many_are_on_board(index: Outline) -> None:
    assert f"{WANTED}: 1 on board, 2 short" in index.text


def test_without_a_spares_list_nothing_is_said_of_what_is_on_board() -> None:
    none = parts().with_columns(on_board=pl.lit(None, pl.Int64), short=pl.lit(None, pl.Int64))
    for own in (none, schema.PARTS.empty()):
        text = Outline(report_of(ship_arguments(UNITS, parts=own))[INDEX]).text
        bring = text[text.index("For the probable causes at") : text.index("What the logs cannot tell")]
        assert WANTED in bring
        assert "listed" not in bring
        assert "on board" not in bring
        assert "Repairs and what they need" not in text


def test_changes_come_worst_first_and_what_stayed_is_only_counted() -> None:
    view = _view()
    assert [change.change for change in view.changes] == ["worse", "new", "another cause", "better", "gone"]
    assert view.same == UNITS - 4


def test_every_identifier_of_the_schema_has_its_words() -> None:
    assert VERDICTS.keys() == set(schema.REPAIR_VERDICTS)
    assert CHANGES.keys() == set(schema.CHANGE_KINDS) - {"same"}
    assert ORDERS.keys() == set(schema.SET_POINT_KINDS)
    assert REPAIR_STATES.keys() == set(schema.REPAIR_STATES)


# ------------------------------------------------------------ the hand-over sheet


def _sheet(**changed: Any) -> str:
    return Outline(report_of(ship_arguments(UNITS, **changed))[HANDOVER]).text


def test_the_sheet_has_all_its_parts_and_no_script(written: dict[str, str]) -> None:
    sheet = Outline(written[HANDOVER])
    for said in (
        "Logs end 2031-03-14 23:45 UTC",
        "Watch that takes over",
        "Open now",
        "Done, the latest first",
        "Look at next",
        "Parts that are short: Coil, exp. valve (2)",
        "Changes since the earlier run",
        "it never says that a unit is safe",
        "Invented data.",
    ):
        assert said in sheet.text, said
    assert [tag for tag, _ in sheet.elements if tag == "script"] == []


def test_the_sheet_is_written_beside_a_report_in_one_file_and_links_into_it() -> None:
    arguments = ship_arguments(UNITS)
    written = report_of(arguments, one_file=True)
    assert list(written) == [HANDOVER, INDEX]
    assert f'href="index.html#unit-{NAMES[0]}"' in written[HANDOVER]
    assert 'href="handover.html"' in written[INDEX]


def test_what_does_not_fit_on_the_sheet_is_counted() -> None:
    names = [container(place + 1) for place in range(80)]
    found = findings(names).with_columns(group=pl.lit("go_now"))
    noted = notes(names, 80)
    sheet = _sheet(findings=found, notes=noted, repairs=repairs(noted), changes=changes(found, 80))
    counted = [int(count) for count in re.findall(r"… and (\d+) more in the report", sheet)]
    shown = sheet.count("evaporator coil for ice"), sheet.count("defrosted by hand")
    assert counted == [80 - shown[0], 80 - shown[1], 81 - len(re.findall("Was watch|No log of it", sheet))]
    assert min(shown) >= 5


def test_room_that_one_list_does_not_need_goes_to_the_others() -> None:
    names = [container(place + 1) for place in range(80)]
    found = findings(names).with_columns(group=pl.lit("go_now"))
    crowded = _sheet(findings=found, notes=notes(names, 80), changes=changes(found, 80))
    roomy = _sheet(findings=found, notes=schema.NOTES.empty(), changes=schema.CHANGES.empty())
    assert roomy.count("evaporator coil for ice") > crowded.count("evaporator coil for ice")


def test_a_sheet_without_papers_says_what_was_not_given() -> None:
    sheet = Outline(pages(UNITS, notes=schema.NOTES.empty())[HANDOVER]).text
    for said in ("No work notes were given.", "No round was planned.", "No earlier run was given."):
        assert said in sheet


# ------------------------------------------------------------ with nothing given, and with hostile text


def test_without_anything_from_beside_the_logs_there_is_no_such_part() -> None:
    page = pages(UNITS)[INDEX]
    assert 'href="#ship"' not in page
    assert 'id="ship"' not in page
    assert "beside-logs" not in Outline(page).ids


def test_text_of_papers_is_shown_and_never_run() -> None:
    noted = notes(NAMES).with_columns(action=pl.lit(HOSTILE), part=pl.lit(HOSTILE))
    arguments = ship_arguments(
        UNITS,
        notes=noted,
        repairs=repairs(noted),
        parts=parts().with_columns(part=pl.lit(HOSTILE) + pl.col("part")),
        plan=plan(NAMES[:-1]).with_columns(
            container=pl.when(pl.col("container") == container(9001))
            .then(pl.lit(HOSTILE))
            .otherwise("container")
        ),
        earlier=HOSTILE,
    )
    for name, page in report_of(arguments).items():
        if name.endswith(".html"):
            assert "<script>alert" not in page, name
            assert "\u202e" not in page, name
    index = report_of(arguments)[INDEX]
    assert index.count("&lt;script&gt;alert(") >= 4


def test_the_same_papers_give_the_same_bytes() -> None:
    one, other = (report_of(ship_arguments(6)) for _ in range(2))
    assert one == other


def test_no_english_is_left_on_a_ship_in_spanish() -> None:
    spanish = report_of(ship_arguments(UNITS), language="es")
    sheet, index = Outline(spanish[HANDOVER]).text, Outline(spanish[INDEX]).text
    assert "Hoja de relevo" in sheet
    assert "vista hacia proa" in index
    for english in ("Open now", "stops", "on board", "recovered", "given are used up", "booking orders"):
        assert english not in sheet + index, english
    slot = "QXAU0000016, bahía 10 fila 06 altura 82, ir ahora, parada 1 de la ronda"
    assert f'aria-label="{slot}"' in spanish[INDEX]
