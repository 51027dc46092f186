"""What the card of a unit says, and what stands behind each of its sentences."""

from __future__ import annotations

import re
import shlex
from datetime import timedelta
from itertools import pairwise
from typing import Any

import polars as pl
import pytest
from tests.report.fleet import (
    FEATURE_WORDS,
    HOSTILE,
    START,
    cargo,
    container,
    defrosts,
    evidence,
    excursion,
    features,
    findings,
    one_page,
    pages,
    reasons,
    table,
    timeline,
)
from tests.report.outline import Outline

from coldsift import schema
from coldsift.report import FeatureWords
from coldsift.report.unit_views import LAST_READINGS, MOST_FEATURES, WORST, dossier_command

FIRST = container(1)
NAMES = [container(place + 1) for place in range(5)]
VISIBLE = '<script>alert("1")</script>‹U+202E›</details>'


def _page(name: str = FIRST, **changes: Any) -> str:
    """The page of one unit out of five."""
    return pages(5, 1, 3, **changes)[f"units/{name}.html"]


def _words(html: str) -> str:
    return Outline(html).text.replace("\u00a0", " ").replace("\u202f", " ")


def _text(name: str = FIRST, **changes: Any) -> str:
    return _words(_page(name, **changes))


def _behind(html: str, sentence: str) -> str:
    """What opens behind a sentence."""
    found = re.findall(r'<details class="numbers"><summary>(.*?)</summary>(.*?)</details>', html, re.DOTALL)
    return " ".join(_words(inside) for summary, inside in found if sentence in _words(summary))


@pytest.fixture(scope="module")
def written() -> dict[str, str]:
    return pages()


@pytest.fixture(scope="module")
def html(written: dict[str, str]) -> str:
    return written[f"units/{FIRST}.html"]


@pytest.fixture(scope="module")
def text(html: str) -> str:
    return _words(html)


def test_the_card_tells_first_where_the_unit_is_and_what_to_do_then_why_then_the_rest(html: str) -> None:
    text = _words(html[html.index("<main") :])
    order = [
        "set point 2.0 °C (chilled)",
        "Go now: the log shows something that should not wait",
        "What to do first",
        "Parts to bring",
        "Chance of a real fault",
        "Until a limit is passed",
        "At risk",
        "Why",
        "Probable causes",
        "Other checks",
        "What people saw and did",
        "The chart needs scripts",
        "Excursions 1 excursion",
        "Defrosts",
        "Cargo core",
        "2 features against like units",
        "First reading",
        "Reconstruct what it went through",
    ]
    places = [text.index(each) for each in order]
    assert places == sorted(places)


def test_urgency_is_three_parts_in_words_and_no_score(text: str) -> None:
    part = text[text.index("Chance of a real fault") : text.index("Why")]
    assert part == (
        "Chance of a real fault very likely (97 %) "
        "Until a limit is passed Air: outside its band now Cargo, as it goes on: not within 30 days "
        "Cargo, if the unit stops now: 40.0 h (22.0 h to more than 30 days) "
        "At risk Frozen fish Counts: as every other cargo (no weight given) "
    )


def test_a_place_on_board_is_told_by_bay_row_and_tier() -> None:
    at = findings(NAMES, position=["0100482", None, None, None, None])
    assert "Bay, row, tier 010 04 82 · set point" in _text(findings=at)
    assert "Bay, row, tier" not in _text(NAMES[1], findings=at)


def test_where_nothing_was_found_nobody_is_sent_and_nothing_is_called_safe(written: dict[str, str]) -> None:
    text = _words(written[f"units/{container(8)}.html"])
    first = text[text.index("What to do first") : text.index("Chance of a real fault")]
    assert (
        first
        == "What to do first The log asks for no visit. Nothing found in the log is not the same as safe. "
    )


def test_where_the_log_cannot_tell_the_card_says_what_it_lacks_and_what_to_read_off(
    written: dict[str, str],
) -> None:
    text = _words(written[f"units/{container(12)}.html"])
    first = text[text.index("What to do first") : text.index("Chance of a real fault")]
    assert "The log cannot tell: no return air logged" in first
    assert "Read set point, air temperatures and alarms at the unit itself" in first


def test_a_unit_without_judged_causes_still_names_its_first_check() -> None:
    text = _text(evidence=evidence([]), causes=schema.CAUSES.empty())
    assert "What to do first Check first: evaporator coil for ice, then fan current" in text


# What stands behind the sentences


def test_a_reason_opens_to_everything_known_of_its_feature(html: str) -> None:
    assert _behind(html, "Split 0.3 K; 11 peers hold 1.9 to 2.9 K").startswith(
        " This unit 0.30 K odd "
        "Like units 1.92 K to 2.88 K, middle 2.40 K (11 units) "
        "Robust distance −7.2 Readings 800 Taken in hold "
        "Reckoned as median of return air − supply air Source common practice, no source "
        "Look first at evaporator coil and fans In features.parquet split_hold "
    )


def test_evidence_opens_to_the_same_numbers_as_a_reason(html: str) -> None:
    causes = html[html.index('class="causes"') :]
    assert "In features.parquet split_hold" in _behind(causes, "Split 0.3 K")
    assert "This unit 0.38 h odd Like units 2.40 h to 3.60 h" in _behind(causes, "Time off")


def test_every_sentence_of_the_card_that_rests_on_a_feature_opens(html: str) -> None:
    told = re.findall(r"<li>(.*?)</li>", html[html.index('class="reasons"') : html.index("</ol>")], re.DOTALL)
    assert told
    assert all(each.startswith('<details class="numbers">') for each in told)


def test_a_sentence_on_excursions_opens_to_each_of_them_and_leads_to_the_chart(html: str) -> None:
    inside = _behind(html, "Outside its band for 20 h")
    assert (
        "2031-03-11 10:00 to 2031-03-12 06:00 UTC: 20.0 h, furthest 6.4 °C (edge 4.0 °C), 28.4 K·h "
        "Show on the chart" in inside
    )
    # The first pull-down does not count.
    assert "25.0 °C" not in inside


def test_only_the_largest_excursions_stand_behind_the_sentence_on_them_all() -> None:
    many = [excursion(FIRST, 5 * place, 2, degree_hours=float(place)) for place in range(WORST + 3)]
    inside = _behind(_page(excursions=table(schema.EXCURSIONS, many)), "Outside its band")
    told = re.findall(r"([\d.]+) K·h", inside)
    assert told == [f"{place:.1f}" for place in range(WORST + 2, 2, -1)]
    assert "All excursions, and what the readings leave open" in inside


@pytest.mark.parametrize("kind", ["state", "trend", "pull_down"])
def test_a_sentence_on_the_end_of_the_log_opens_to_the_last_readings(kind: str) -> None:
    told = reasons({FIRST: ("The supply air is at 9.9 °C",)}).with_columns(
        kind=pl.lit(kind).cast(pl.Enum(schema.REASON_KINDS)), feature=pl.lit(None, pl.String)
    )
    log = timeline([FIRST], 3, bad=1).tail(1)
    inside = _behind(_page(reasons=told), "The supply air is at 9.9 °C")
    assert "Time, UTC Set point Supply air Return air Ambient air Band from Band to Doing" in inside
    assert len(re.findall(r"2031-03-\d\d \d\d:\d\d", inside)) == LAST_READINGS
    air = f"{log['supply_air'][0]:.1f} °C".replace("-", "−")
    last = inside[inside.rindex("2031-03-03 23:45") :]
    assert last.startswith(f"2031-03-03 23:45 2.0 °C {air} ")
    assert "0.0 °C 4.0 °C hold" in last


def test_a_sentence_about_what_is_missing_opens_to_nothing() -> None:
    told = reasons({FIRST: ("no return air logged",)}).with_columns(
        kind=pl.lit("missing").cast(pl.Enum(schema.REASON_KINDS)), feature=pl.lit(None, pl.String)
    )
    assert "<li>no return air logged</li>" in _page(reasons=told)


def test_shares_are_told_in_per_cent_like_in_the_sentences() -> None:
    share = features(NAMES).with_columns(unit=pl.lit(""), value=pl.lit(0.774), peer_high=pl.lit(0.9))
    assert "This unit 77.4 %" in _behind(_page(features=share), "Split 0.3 K")
    drift = share.with_columns(unit=pl.lit("1/d"))
    assert "This unit 77.4 %/d" in _behind(_page(features=drift), "Split 0.3 K")


def test_a_feature_without_peers_says_so() -> None:
    alone = features(NAMES).with_columns(peers=pl.lit(0), peer_median=pl.lit(None, pl.Float64))
    assert "Like units none to compare with" in _behind(_page(features=alone), "Split 0.3 K")


# Excursions, defrosts, notes, alarms


def test_an_excursion_shows_what_the_log_interval_leaves_open(text: str) -> None:
    assert "between 2031-03-11 09:45 and 2031-03-11 10:00" in text
    assert "or earlier: no reading before it is surely inside" in text
    running = table(schema.EXCURSIONS, [excursion(FIRST, end_latest=None)])
    assert "not ended at the last reading" in _text(excursions=running)


def test_hours_and_degree_hours_are_told_as_read_at_least_and_at_most() -> None:
    own = excursion(
        FIRST,
        gap_hours=3.0,
        hours_at_least=18.5,
        hours_at_most=24.0,
        degree_hours_at_least=20.1,
        degree_hours_at_most=44.0,
        peak_at_most=9.5,
    )
    text = _text(excursions=table(schema.EXCURSIONS, [own]))
    assert "20.0 h at least 18.5 h at most 24.0 h 3.0 h of it without readings" in text
    assert "6.4 °C edge 4.0 °C at most 9.5 °C" in text
    assert "28.4 K·h at least 20.1 K·h at most 44.0 K·h" in text


def test_bounds_that_say_the_same_as_the_reading_are_not_told() -> None:
    own = excursion(
        FIRST, hours_at_least=20.0, hours_at_most=20.0, degree_hours_at_least=28.4, peak_at_most=6.4
    )
    text = _text(excursions=table(schema.EXCURSIONS, [own]))
    table_text = text[text.index("Along with") : text.index("Defrosts")]
    assert "at least" not in table_text
    assert "at most" not in table_text


def test_many_excursions_are_summed_up_and_the_first_twenty_shown() -> None:
    many = [excursion(FIRST, 3 * place, 2, degree_hours=1.0 + (place == 7)) for place in range(23)]
    html = _page(excursions=table(schema.EXCURSIONS, many))
    text = _words(html)
    assert "23 excursions, in all 46.0 h, 24.0 K·h" in text
    assert "the largest: 2031-03-01 21:00 to 2031-03-01 23:00 UTC: 2.0 h" in text
    part = html[html.index('class="excursions"') : html.index("Defrosts</h2>")]
    shown, more = part.split('<details class="more">')
    assert (shown.count("<tr><td>"), more.count("<tr><td>")) == (20, 3)
    assert "3 more" in _words(more)


def test_each_kind_of_excursion_is_explained_and_only_the_first_counts() -> None:
    kinds = ("excursion", "initial_warm_load", "after_set_point_change", "possible_excursion")
    rows = [excursion(FIRST, 10 * place, 2, kind=kind) for place, kind in enumerate(kinds)]
    text = _text(excursions=table(schema.EXCURSIONS, rows))
    assert "1 excursion, in all 2.0 h" in text
    for kind in ("first pull-down", "after a set-point change", "possible"):
        assert f"apart from that: 1 × {kind}" in text
    assert "a gap in the log leaves open whether it was longer" in text
    only = table(schema.EXCURSIONS, rows[3:])
    assert "None that counts." in _text(excursions=only)


def test_buttons_carry_the_times_of_an_excursion_in_utc_milliseconds(html: str) -> None:
    start = START + timedelta(hours=250)
    edges = [round(1000 * (start + timedelta(hours=hours)).timestamp()) for hours in (0, 20)]
    # Behind the reason, and in the table.
    assert html.count(f'class="show" data-start="{edges[0]}" data-end="{edges[1]}"') == 2


def test_defrosts_are_summed_up_and_listed_one_by_one() -> None:
    last_one_unended = defrosts([FIRST], 3).with_columns(
        terminated=pl.when(pl.col("start") == pl.col("start").max()).then(False).otherwise(True)
    )
    text = _text(defrosts=last_one_unended)
    assert "12 found (as logged)" in text
    assert "usually 6.0 h from start to start" in text
    assert "1 without a proper end" in text
    assert "2031-03-01 06:00 30 min 15.0 °C 25 min proper as logged" in text
    assert "2031-03-03 18:00 30 min 15.0 °C 25 min no proper end as logged" in text


def test_notes_of_people_stand_on_the_card_as_they_were_written(html: str) -> None:
    assert "2031-03-11 20:00 UTC: coil iced over Done: defrosted by hand" in _words(html)
    assert '<span class="as-logged">coil iced over</span>' in html
    assert "What people saw and did" not in _text(NAMES[1])


def test_alarms_stand_on_the_card_as_logged_with_their_first_and_last_reading() -> None:
    log = timeline([FIRST], 3)
    high = pl.when(pl.col("regime") == "defrost").then(pl.lit(["high air", "probe"])).otherwise(pl.lit([]))
    text = _text(timeline=log.with_columns(alarms=high.cast(pl.List(pl.String))))
    assert "high air : 2031-03-01 00:00 to 2031-03-03 18:15 UTC, 24 readings" in text


# Features, peers, cargo, log


def test_features_stand_beside_their_peers_and_say_why_they_are_missing(text: str) -> None:
    assert "Split in hold hold 0.30 K 1.92 K to 2.88 K, middle 2.40 K (11 units) −7.2 odd 800" in text
    assert "no pull-down in the log: 1 feature Pull-down rate" in text


def test_features_are_sorted_by_distance_and_odd_is_a_word_not_only_a_colour() -> None:
    far = pl.col("feature") == "off_time"
    own = features(NAMES).with_columns(z=pl.when(far).then(-9.0).otherwise(pl.col("z")))
    html = _page(features=own)
    rows = re.findall(r'<tr( class="odd")?><th scope="row">(.*?)</th>(.*?)</tr>', html)
    assert [name for _, name, _ in rows] == ["Time off", "Split in hold"]
    assert all(("odd" in _words(cells)) == bool(marked) for marked, _, cells in rows)


def test_only_the_features_furthest_from_the_peers_are_shown_and_the_rest_counted() -> None:
    one = features(NAMES).filter(pl.col("value").is_not_null()).head(1)
    many = pl.concat(
        one.with_columns(feature=pl.lit(f"feature_{place:02}"), z=pl.lit(float(place)))
        for place in range(MOST_FEATURES + 5)
    )
    text = _text(features=many)
    assert "feature 34" in text
    assert "feature 04" not in text
    assert "5 more lie nearer to the peers" in text


def test_a_sentence_opens_to_its_feature_even_when_thirty_others_are_further_out() -> None:
    near = features(NAMES)
    one = near.filter(pl.col("value").is_not_null()).head(1)
    many = pl.concat(
        one.with_columns(feature=pl.lit(f"feature_{place:02}"), z=pl.lit(50.0))
        for place in range(MOST_FEATURES)
    )
    html = _page(features=pl.concat([near, many]))
    assert "In features.parquet split_hold" in _behind(html, "Split 0.3 K")
    assert '<th scope="row">Split in hold</th>' not in html


def test_the_card_says_with_whom_the_unit_was_compared() -> None:
    told = findings(NAMES[:1], compared_with=["13 other units: chilled; fewer than 8 are more alike"])
    assert "Compared with 13 other units: chilled; fewer than 8 are more alike" in _text(findings=told)


def test_the_card_says_what_the_cargo_is_and_how_warm_with_a_unit_on_every_number(text: str) -> None:
    assert "Outer cargo at the end of the log −18.0 °C (−18.4 °C to −17.3 °C)" in text
    assert "Cargo core at the end of the log −18.0 °C (−18.4 °C to −17.3 °C)" in text
    assert "fitted to the cargo probes within 0.3 K" in text
    assert "Cargo bears not above −15.0 °C quick-frozen rule" in text


def test_a_cargo_that_was_not_reckoned_says_so(written: dict[str, str]) -> None:
    text = _words(written[f"units/{container(12)}.html"])
    assert "Cargo: not reckoned" in text
    assert "Outer cargo at the end of the log not reckoned" in text


def test_a_cargo_past_its_limit_is_not_given_hours() -> None:
    past = cargo(NAMES, hours_as_now=0.0, hours_as_now_low=0.0, hours_as_now_high=0.0)
    assert "Cargo, as it goes on: past its limit now" in _text(cargo=past)


def test_storage_life_is_told_where_it_is_known() -> None:
    spent = cargo(NAMES, life_lost_days=4.5, life_days=180.0)
    assert "Storage life lost 4.5 days of 180 days at the best temperature" in _text(cargo=spent)
    assert "Storage life lost" not in _text()


def test_the_log_is_told_with_what_it_covers(text: str) -> None:
    assert "First reading 2031-03-01 00:00 UTC Last reading 2031-03-14 23:45 UTC" in text
    assert "Share of the voyage 97 % Readings 1307 Longest time without one 9.5 h" in text


# The dossier's command


def test_the_command_of_the_dossier_names_container_logs_and_folder(text: str) -> None:
    assert f"coldsift dossier {FIRST} LOGS --out dossiers/{FIRST}" in text


@pytest.mark.parametrize("name", ["A B", "$(reboot)", "a'b;c", "«x»", "`id`", "-rf", "--verify=x"])
def test_a_hostile_container_number_stays_one_word_of_the_command_and_no_option(name: str) -> None:
    said = shlex.split(dossier_command(name, "unit-x"))
    assert name in said
    assert said[:2] == ["coldsift", "dossier"]
    if name.startswith("-"):
        assert said.index("--") == said.index(name) - 1


# The page around the card


def test_a_page_leads_to_its_neighbours_by_rank_and_back_to_its_place_in_the_list(
    written: dict[str, str],
) -> None:
    html = written[f"units/{container(2)}.html"]
    assert html.count(f'href="../index.html#at=unit-{container(2)}"') == 2
    assert html.count(f'rel="prev" href="../units/{container(1)}.html"') == 2
    assert html.count(f'rel="next" href="../units/{container(3)}.html"') == 2
    assert 'rel="prev"' not in written[f"units/{container(1)}.html"]
    assert 'rel="next"' not in written[f"units/{container(12)}.html"]


def test_the_title_names_container_and_group(html: str) -> None:
    assert f"<title>{FIRST} · Go now · Invented voyage, holds 1 to 3</title>" in html


def test_headings_go_down_one_level_at_a_time_on_a_page_and_in_one_file(html: str) -> None:
    for page in (html, one_page(5, 1, 3)):
        levels = [int(tag[1]) for tag, _ in Outline(page).elements if re.fullmatch(r"h[1-6]", tag)]
        assert levels[0] == 1
        assert all(after <= before + 1 for before, after in pairwise(levels))


def test_ids_are_unique_on_a_page_and_in_one_file(html: str) -> None:
    for page in (html, one_page(5, 1, 3)):
        ids = Outline(page).ids
        assert len(ids) == len(set(ids))


def test_every_link_within_a_card_leads_somewhere(html: str) -> None:
    for page in (html, one_page(5, 1, 3)):
        outline = Outline(page)
        links = {(each.get("href") or "") for tag, each in outline.elements if tag == "a"}
        within = {each[1:] for each in links if re.match("#(unit|check|causes|excursions)-", each)}
        assert within
        assert within <= set(outline.ids)


def test_a_log_that_gave_nothing_still_makes_a_card() -> None:
    name = NAMES[0]
    empty = {
        each: table(schema.TABLES[each], [])
        for each in ("features", "causes", "evidence", "excursions", "defrosts", "cargo", "reasons", "notes")
    }
    text = _text(findings=findings([name]), timeline=timeline([name], 3).clear(), **empty)
    assert "No readings to draw." in text
    assert "Excursions None found. Defrosts None found. Features None found." in text
    assert "Cargo not known" in text


def test_hostile_text_from_logs_stays_text() -> None:
    name = f"QXAU000000{HOSTILE}"
    rows = [excursion(name, 10, along_with=HOSTILE, kind=HOSTILE, sensor_doubt_why=HOSTILE)]
    note = {
        "container": name,
        "time": START,
        "observation": HOSTILE,
        "action": HOSTILE,
        "part": HOSTILE,
        "line": 1,
    }
    alarmed = timeline([name], 3).with_columns(alarms=pl.lit([HOSTILE]))
    changes: dict[str, Any] = {
        "findings": findings([name], why=[HOSTILE], compared_with=[HOSTILE], position=[HOSTILE]),
        "timeline": alarmed,
        "excursions": table(schema.EXCURSIONS, rows),
        "defrosts": defrosts([name], 1),
        "cargo": cargo([name, "other"], cargo=HOSTILE, known_from=HOSTILE, limit_from=HOSTILE),
        "features": features([name]).with_columns(regime=pl.lit(HOSTILE), reason=pl.lit(HOSTILE)),
        "notes": table(schema.NOTES, [note]),
        "reasons": reasons({name: (HOSTILE, HOSTILE)}),
        "feature_words": {"split_hold": FeatureWords(*[HOSTILE] * 6), **FEATURE_WORDS},
        "title": HOSTILE,
    }
    written = pages(1, 1, 3, **changes)
    (page,) = (text for path, text in written.items() if path.startswith("units/") and path.endswith("html"))
    plain = Outline(_page())
    outline = Outline(page)
    assert "alert(" not in "".join(re.findall(r"<script[^>]*>(.*?)</script>", page, re.DOTALL))
    for tag in ("script", "template"):
        assert [each for each, _ in outline.elements].count(tag) <= [e for e, _ in plain.elements].count(tag)
    assert outline.text.count(VISIBLE) > 10
    assert "\u202e" not in page
    handlers = {key for _, attributes in outline.elements for key in attributes if key.startswith("on")}
    assert handlers == set()


def test_the_words_of_a_unit_of_a_long_voyage_stay_below_sixty_kilobytes() -> None:
    many = [excursion(FIRST, 30 * place, 2) for place in range(20)]
    html = pages(3, 1, 60, excursions=table(schema.EXCURSIONS, many))[f"units/{FIRST}.html"]
    body = re.sub(r'<script type="application/json" class="figure-data">.*?</script>', "", html)
    words = body[body.index("<main") : body.index("</main>")]
    assert "20 excursions" in words
    assert words.count("<td>as logged") == 240
    assert len(words.encode()) < 60_000
