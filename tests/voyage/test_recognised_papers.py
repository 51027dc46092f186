"""Papers of the voyage that lie among the logs are not read as logs, and logs stay logs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from coldsift.intake import read_logs
from coldsift.voyage.recognise import voyage_table

ONE = "CSQU3054383"
PLAN = f"UNB+UNOA:2+A+B+310106:0000+1'UNH+1+BAPLIE:D:95B:UN'LOC+147+0190482::5'EQD+CN+{ONE}+45R1+++5'"


@pytest.mark.parametrize(
    ("text", "option"),
    [
        (PLAN, "--plan"),
        (f"UNA:+.? '\r\n{PLAN}", "--plan"),
        ("container,position,iso type,required temperature (°C)\n", "--plan"),
        ("Container;Bay;Row;Tier;Set point (°C)\n", "--plan"),
        ("container,booked set point (°C),cargo\n", "--bookings"),
        ("container,set point (°C),from\n", "--bookings"),
        ("part,on board,place\n", "--spares"),
        ("container,time,holder\n", "--events"),
        ("container,time,observation\n", "--notes"),
        (json.dumps({"type": "EPCISDocument", "epcisBody": {}}), "--events"),
    ],
)
def test_a_paper_is_known_by_how_it_begins(text: str, option: str) -> None:
    told = voyage_table(text.encode())
    assert told is not None
    assert told[1] == option


@pytest.mark.parametrize(
    "text",
    [
        "container,time,set point (°C),supply air (°C),position\n",
        "container,timestamp (UTC),set point (°C)\n",
        "time,container,set point,cargo 1\n",
        "timestamp,container,set point\n",
        '{"time": "2031-01-06T00:00:00Z", "container": "CSQU3054383", "supply_air": -18.0}\n',
        "UNB,time,container\n",
        "UNB+UNOA:2+A+B+310106:0000+1'UNH+1+COARRI:D:95B:UN'",
        "part,time,value\n",
        "",
    ],
)
def test_a_log_stays_a_log(text: str) -> None:
    assert voyage_table(text.encode()) is None


@pytest.mark.parametrize(
    ("name", "text", "option"),
    [
        ("plan.txt", PLAN, "--plan"),
        ("plan.csv", f"container,position\n{ONE},190482\n", "--plan"),
        ("bookings.csv", f"container,booked set point (°C)\n{ONE},5\n", "--bookings"),
        ("spares.csv", "part,on board\nfan motor,2\n", "--spares"),
        ("events.txt", '{"type": "EPCISDocument", "epcisBody": {"eventList": []}}', "--events"),
    ],
)
def test_intake_says_how_to_give_the_paper(tmp_path: Path, name: str, text: str, option: str) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    told = [message for message in read_logs([tmp_path]).messages if message.file == name]
    assert [message.severity for message in told] == ["note"]
    assert option in told[0].do
