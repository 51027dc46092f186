"""Spoilt files, each made again from its number alone.

Goes in: a seed and the number of a case. Comes out: a :class:`Case`, files in a folder and how they are to be
read. What is spoilt are the samples of every layout, the invented voyage's logs (their beginnings, so that a
case takes little time), its papers and the declarations of the layouts.
"""

from __future__ import annotations

import codecs
import gzip
import io
import os
import socket
import struct
import zipfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl

ROOT = Path(__file__).parents[2]
LINES = 40
"""Lines of a long log that are spoilt."""
SPECIAL_SHARE = 0.06
"""Share of cases that need more than spoilt bytes."""
PAPERS = {
    "plan.edi": "plan",
    "bookings.csv": "bookings",
    "custody.csv": "events",
    "notes.csv": "notes",
    "spares.csv": "spares",
    "facts.toml": "facts",
}
"""Papers of the sample voyage, and the field of ``VoyageFiles`` that takes them."""
TWINS = ("QXAU4551721_a.csv", "QXKU4551737.zip", "ZZBU4551742.txt", "ZZRU4551750.jsonl", "ZZRU4472500.xlsx",
         "XQFU4234779.csv", "XQTU4393266.csv", "ZZBU4313997.csv", "fleet_parquet.parquet",
         "tag_value_gzip.csv.gz")  # fmt: skip
"""One log of the sample voyage of every layout and packing."""

Random = np.random.Generator


@dataclass(frozen=True, slots=True)
class Sample:
    """A file to be spoilt: kind is its ending, the name of a paper, or ``layout``."""

    name: str
    kind: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Case:
    """What one case is.

    Attributes
    ----------
    number
        With the seed, all that is needed to make it again.
    kind
        Ending of the log, name of the paper, ``layout``, or ``special``.
    mutations
        What was done to it, in order.
    paths
        What is to be read: logs, or one paper, or a folder of layouts.
    """

    number: int
    kind: str
    mutations: tuple[str, ...]
    paths: tuple[Path, ...]


@cache
def samples() -> tuple[Sample, ...]:
    """Every sample file, long ones cut after a few lines."""
    found = []
    for path in sorted(ROOT.glob("parsers/*/sample*")):
        found.append(Sample(path.name, path.suffix[1:], _begin(path.name, path.read_bytes())))
    for name in TWINS:
        found.append(Sample(name, name.rsplit(".", 1)[1], _begin(name, _sample_log(name))))
    for name, kind in PAPERS.items():
        found.append(Sample(name, kind, _sample_log(name)))
    for path in sorted(ROOT.glob("parsers/*/layout.toml")):
        found.append(Sample(path.parent.name, "layout", path.read_bytes()))
    return tuple(found)


def _sample_log(name: str) -> bytes:
    return (ROOT / "sample_logs" / name).read_bytes()


def _begin(name: str, data: bytes) -> bytes:
    """The first lines of a long log, packed as it was."""
    if name.endswith(".gz"):
        return gzip.compress(_begin("", gzip.decompress(data)), mtime=0)
    if name.endswith(".zip"):
        return packed([(member, _begin("", content)) for member, content in unpacked(data)])
    if name.endswith((".xlsx", ".parquet")):
        return data
    return b"".join(data.splitlines(keepends=True)[:LINES])


def unpacked(data: bytes) -> list[tuple[str, bytes]]:
    """Members of a zip archive."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return [(member.filename, archive.read(member)) for member in archive.infolist()]


def packed(members: Sequence[tuple[str, bytes]]) -> bytes:
    """A zip archive of the same bytes every time."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


# --------------------------------------------------------------------------------------- bytes to bytes


def _place(random: Random, data: bytes) -> int:
    return int(random.integers(0, len(data) + 1))


def flip(random: Random, data: bytes) -> bytes:
    """Some bits changed."""
    out = bytearray(data)
    for _ in range(int(random.integers(1, 12)) if out else 0):
        out[int(random.integers(len(out)))] ^= 1 << int(random.integers(8))
    return bytes(out)


def overwrite(random: Random, data: bytes) -> bytes:
    """A stretch of any bytes."""
    at, length = _place(random, data), int(random.integers(1, 200))
    return data[:at] + random.bytes(length) + data[at + length :]


def cut(random: Random, data: bytes) -> bytes:
    """The end gone."""
    return data[: _place(random, data)]


def cut_out(random: Random, data: bytes) -> bytes:
    """A part of the middle gone."""
    start, end = sorted((_place(random, data), _place(random, data)))
    return data[:start] + data[end:]


def splice(random: Random, data: bytes) -> bytes:
    """A part of another sample within."""
    others = samples()
    other = others[int(random.integers(len(others)))].data
    start, end = sorted((_place(random, other), _place(random, other)))
    at = _place(random, data)
    return data[:at] + other[start:end] + data[at:]


def repeat(random: Random, data: bytes) -> bytes:
    """A part there many times."""
    start = _place(random, data)
    part = data[start : start + int(random.integers(1, 400))]
    return data[:start] + part * int(random.integers(2, 60)) + data[start:]


def shuffle(random: Random, data: bytes) -> bytes:
    """Lines in another order, some of them twice or not at all."""
    lines = data.splitlines(keepends=True)
    if not lines:
        return data
    return b"".join(lines[int(at)] for at in random.integers(0, len(lines), len(lines)))


def encode(random: Random, data: bytes) -> bytes:
    """The same text in another encoding."""
    encodings = ("cp1252", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig", "cp437", "iso8859-2",
                 "cp1251", "cp500", "utf-7", "shift_jis", "mac_roman")  # fmt: skip
    encoding = encodings[int(random.integers(len(encodings)))]
    return data.decode("utf-8", "replace").encode(encoding, "replace")


def redelimit(random: Random, data: bytes) -> bytes:
    """Another sign between the cells, everywhere or on some lines."""
    signs = b",;\t|: \x1f'\"."
    old, new = (signs[int(at) : int(at) + 1] for at in random.integers(0, len(signs), 2))
    if random.random() < 0.6:
        return data.replace(old, new)
    lines = data.splitlines(keepends=True)
    return b"".join(line.replace(old, new) if random.random() < 0.3 else line for line in lines)


def huge_line(random: Random, data: bytes) -> bytes:
    """A very long line."""
    sign = (b"a", b"9", b",", b'"', b" ", b"\xff", b"{", b"[", b"+", b"'", b"\xc3\xa9")[
        int(random.integers(11))
    ]
    at = _place(random, data)
    return data[:at] + sign * int(10 ** random.uniform(3, 5.7)) + data[at:]


def nuls(random: Random, data: bytes) -> bytes:
    """NUL and other control bytes, few or many."""
    at = _place(random, data)
    sign = bytes([int(random.choice([0, 0, 0, 1, 8, 26, 27, 127]))])
    return data[:at] + sign * int(10 ** random.uniform(0, 4)) + data[at:]


def quotes(random: Random, data: bytes) -> bytes:
    """Quotation marks and brackets, opened and not closed, one within the other."""
    signs = ('"', '""', '"""', "'", '"\n"', '","', "\\", "{", "[", "(", '{"a":', "[[", "“")
    for _ in range(int(random.integers(1, 8))):
        at = _place(random, data)
        sign = signs[int(random.integers(len(signs)))].encode()
        data = data[:at] + sign * int(10 ** random.uniform(0, 3.5)) + data[at:]
    return data


def marks(random: Random, data: bytes) -> bytes:
    """Byte-order marks where there are none."""
    boms = (codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_LE)
    mark = boms[int(random.integers(4))]
    at = 0 if random.random() < 0.6 else _place(random, data)
    return data[:at] + mark * int(random.integers(1, 4)) + data[at:]


def line_ends(random: Random, data: bytes) -> bytes:
    """Line ends of several kinds in one file."""
    kinds = (b"\n", b"\r\n", b"\r", b"\n\r", b"\r\r\n", "\u2028".encode(), b"\x0b", b"\x85", b"")
    used = random.integers(0, len(kinds), int(random.integers(1, 4)))
    lines = data.splitlines()
    return b"".join(line + kinds[int(random.choice(used))] for line in lines)


def numbers(random: Random, data: bytes) -> bytes:
    """Numbers and dates that are none, or none that can be."""
    odd = ("1e308", "-1e999", "nan", "inf", "-0", "1e-400", "99999999999999999999", "0x1F", "1_000", "٣٤",
           "½", "-999", "3276.7", "0000-00-00", "9999-12-31T23:59:60Z", "2031-02-30 25:61", "1e5", "true", "",
           "=1+1", "2031-01-06 00:00+99:99", "-", "32768", "1970-01-01 00:00:00", "4294967296",
           "Zürich", "\ud7ff", "\u202e")  # fmt: skip
    lines = data.split(b"\n")
    for _ in range(int(random.integers(1, 20))):
        at = int(random.integers(len(lines)))
        cells = lines[at].replace(b";", b",").split(b",")
        cells[int(random.integers(len(cells)))] = odd[int(random.integers(len(odd)))].encode()
        lines[at] = (b";" if b";" in lines[at] else b",").join(cells)
    return b"\n".join(lines)


def words(random: Random, data: bytes) -> bytes:
    """A word of the file in the place of another."""
    found = data.replace(b",", b" ").replace(b";", b" ").replace(b'"', b" ").split()
    for _ in range(int(random.integers(1, 6)) if found else 0):
        old, new = (found[int(at)] for at in random.integers(0, len(found), 2))
        data = data.replace(old, new, int(random.integers(1, 4)))
    return data


BYTES: tuple[Callable[[Random, bytes], bytes], ...] = (
    *(flip, overwrite, cut, cut_out, splice, repeat, shuffle, encode, redelimit, huge_line, nuls, quotes),
    *(marks, line_ends, numbers, words),
)
"""Mutations of bytes; any sample may meet any of them."""


def _spoilt(random: Random, sample: Sample) -> tuple[bytes, tuple[str, ...]]:
    data, done = sample.data, []
    inside = sample.kind in ("zip", "gz", "xlsx") and random.random() < 0.6
    members = _inside(sample) if inside else [(sample.name, data)]
    for _ in range(1 + int(random.geometric(0.55))):
        mutate = BYTES[int(random.integers(len(BYTES)))]
        at = int(random.integers(len(members)))
        members[at] = (members[at][0], mutate(random, members[at][1]))
        done.append(f"{mutate.__name__} inside" if inside else mutate.__name__)
    if not inside:
        return members[0][1], tuple(done)
    if sample.kind == "gz":
        return gzip.compress(members[0][1], mtime=0), tuple(done)
    return packed(members), tuple(done)


def _inside(sample: Sample) -> list[tuple[str, bytes]]:
    return [(sample.name, gzip.decompress(sample.data))] if sample.kind == "gz" else unpacked(sample.data)


# ------------------------------------------------------------------------------------------------ special


def _good(folder: Path, name: str = "good.csv") -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(next(sample.data for sample in samples() if sample.name == "sample.csv"))
    return path


def many_columns(random: Random, folder: Path) -> None:
    """A million columns, in the heading or only below it."""
    count = int(random.choice([1_000, 5_000, 1_000_000], p=[0.45, 0.45, 0.1]))
    path = _good(folder, "wide.csv")
    lines = path.read_bytes().split(b"\n")
    where = int(random.integers(3))
    for at in (0, 1, len(lines) - 2)[where:]:
        lines[at] += b"," + b",".join(b"%d" % column for column in range(count))
    path.write_bytes(b"\n".join(lines))


def many_keys(random: Random, folder: Path) -> None:
    """JSON lines, each with keys of its own."""
    count = int(random.integers(100, 3_000))
    lines = [f'{{"time": "2031-01-06T00:00:00Z", "key {at}": {at}}}' for at in range(count)]
    (folder / "keys.jsonl").write_text("\n".join(lines))


def deep_json(random: Random, folder: Path) -> None:
    """JSON within JSON, thousands of levels deep."""
    depth = int(10 ** random.uniform(2, 5))
    text = ('{"a":' * depth + "1" + "}" * depth) if random.random() < 0.5 else '{"a":' + "[" * depth
    (folder / "deep.jsonl").write_text(text + "\n" + text)


def many_lines(random: Random, folder: Path) -> None:
    """Very many short lines."""
    line = (b"\n", b"a\n", b",\n", b'"\n', b"\r", b"{}\n", b"\0\n")[int(random.integers(7))]
    content = line * int(10 ** random.uniform(4, 5.5))
    (folder / "lines.csv").write_bytes(content)
    _good(folder, "behind.csv")
    (folder / "behind.csv").write_bytes((folder / "behind.csv").read_bytes() + content)


def claims_2_gb(random: Random, folder: Path) -> None:
    """A zip archive or a workbook that claims to unpack to 2 GB and more, or claims little and is much."""
    name = ("claim.zip", "claim.xlsx")[int(random.integers(2))]
    source = next(each for each in samples() if each.kind == name.split(".")[1])
    data = bytearray(source.data)
    claim = int(random.choice([2**31, 2**32 - 2, 1, 0]))
    at = data.find(b"PK\x01\x02")
    while at >= 0:
        struct.pack_into("<I", data, at + 24, claim)
        if random.random() < 0.5:
            (local,) = struct.unpack_from("<I", data, at + 42)
            struct.pack_into("<I", data, local + 22, claim)
        at = data.find(b"PK\x01\x02", at + 4)
    (folder / name).write_bytes(bytes(data))


def bomb(random: Random, folder: Path) -> None:
    """Little that unpacks to much: gzip, zip, or a part of a workbook."""
    sign = (b"\0", b"\n", b"a,", b" ")[int(random.integers(4))]
    content = sign * int(10 ** random.uniform(6, 7.5) / len(sign))
    kind = int(random.integers(3))
    if kind == 0:
        (folder / "bomb.csv.gz").write_bytes(gzip.compress(content, 9, mtime=0))
    elif kind == 1:
        (folder / "bomb.zip").write_bytes(packed([("bomb.csv", content)]))
    else:
        members = unpacked(next(each for each in samples() if each.kind == "xlsx").data)
        at = int(random.integers(len(members)))
        members[at] = (members[at][0], members[at][1] + content)
        (folder / "bomb.xlsx").write_bytes(packed(members))


def far_cell(random: Random, folder: Path) -> None:
    """A worksheet with a cell in its last row and column."""
    members = unpacked(next(each for each in samples() if each.kind == "xlsx").data)
    far = ("XFD1048576", "ZZ1048576", "XFD9", "A1048576", "A0", "ZZZZZZZ1", "A99999999999")[
        int(random.integers(7))
    ]
    changed = [
        (
            name,
            content.replace(b"</row>", f'<c r="{far}"><v>1</v></c></row>'.encode(), 1)
            if "sheet1.xml" in name and "rels" not in name
            else content,
        )
        for name, content in members
    ]
    (folder / "far.xlsx").write_bytes(packed(changed))


def shared_text(random: Random, folder: Path) -> None:
    """A long text that very many cells of a worksheet share."""
    members = unpacked(next(each for each in samples() if each.kind == "xlsx").data)
    long = "x" * int(10 ** random.uniform(3, 5))
    cells = "".join(
        f'<row r="{row}"><c r="A{row}" t="s"><v>0</v></c></row>'
        for row in range(500, 500 + int(10 ** random.uniform(2, 4)))
    )
    parts = dict(members)
    sheet, texts = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
    head, mark, tail = parts[texts].partition(b"<si>")
    _, _, rest = tail.partition(b"</si>")
    parts[texts] = head + mark + b"<t>" + long.encode() + b"</t></si>" + rest
    parts[sheet] = parts[sheet].replace(b"</sheetData>", cells.encode() + b"</sheetData>")
    (folder / "shared.xlsx").write_bytes(packed(list(parts.items())))


def odd_members(random: Random, folder: Path) -> None:
    """A zip archive whose members climb out, share a name, are links, are archives, or have odd names."""
    content = _good(folder).read_bytes()
    names = ("../out.csv", "/etc/log.csv", "C:\\log.csv", "..\\..\\log.csv", "a/../../b.csv", "a.csv",
             "a.csv", "A.CSV", "a/./b.csv", "a//b.csv", "", ".", "\x1b[31m.csv", "\u202egnp.csv", "con.csv",
             "x" * 300, "line\nbreak.csv", "a.csv/", "nested.zip", "nested.xlsx", "é.csv", ".hidden.csv",
             "__MACOSX/a.csv", "a.csv.gz")  # fmt: skip
    members = []
    for at in random.integers(0, len(names), int(random.integers(1, 8))):
        name = names[int(at)]
        inner = packed([("inner.csv", content)]) if "nested" in name else content
        members.append((name, gzip.compress(inner, mtime=0) if name.endswith(".gz") else inner))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, inner in members:
            entry = zipfile.ZipInfo("x")
            entry.filename = name
            if random.random() < 0.15:
                entry.external_attr = 0o120777 << 16
            _quietly(archive, entry, inner)
    data = bytearray(out.getvalue())
    if random.random() < 0.2 and (at := data.find(b"PK\x01\x02")) >= 0:
        data[at + 8] |= int(random.choice([1, 8, 64]))
    (folder / "odd.zip").write_bytes(bytes(data))


def _quietly(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, content: bytes) -> None:
    """Write a member even where its name is there already."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        archive.writestr(entry, content)


def zip_in_zip(random: Random, folder: Path) -> None:
    """Archives within archives, many levels deep, by name or in disguise."""
    data = _good(folder).read_bytes()
    for _ in range(int(random.integers(1, 30))):
        name = ("log.zip", "log.csv", "log.csv.gz")[int(random.integers(3))]
        if name.endswith(".gz"):
            data = gzip.compress(data, mtime=0)
        data = packed([(name, data)]) if random.random() < 0.7 else gzip.compress(data, mtime=0)
    (folder / ("nested.zip" if data[:2] == b"PK" else "nested.gz")).write_bytes(data)


def many_members(random: Random, folder: Path) -> None:
    """A zip archive with very many members."""
    count = int(random.choice([500, 25_000], p=[0.9, 0.1]))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for at in range(count):
            archive.writestr(zipfile.ZipInfo(f"{at}.csv"), b"")
    (folder / "many.zip").write_bytes(out.getvalue())


def links(random: Random, folder: Path) -> None:
    """Symbolic links: to a file, a loop, to nothing, to the folder above, out of the folder."""
    inner = folder / "logs"
    _good(inner, "a.csv")
    _good(folder, "outside/b.csv")
    targets = ("a.csv", "loop.csv", "nothing.csv", "..", "../outside", "../outside/b.csv", ".", "/dev/null",
               "/dev/zero", "/dev/full", "/proc/self/mem", "/etc")  # fmt: skip
    for at in random.integers(0, len(targets) - 1, int(random.integers(1, 6))):
        link = inner / ("loop.csv" if int(at) == 1 else f"link{int(at)}.csv")
        if not link.is_symlink():
            link.symlink_to(targets[int(at)])


def no_files(random: Random, folder: Path) -> None:
    """Pipes, sockets, folders with the name of a log, empty files."""
    _good(folder)
    for at in random.integers(0, 5, int(random.integers(1, 4))):
        path = folder / f"odd{int(at)}.csv"
        if path.exists() or path.is_socket():
            continue
        if at == 0:
            os.mkfifo(path)
        elif at == 1:
            _socket(path)
        elif at == 2:
            path.mkdir()
        elif at == 3:
            path.write_bytes(b"")
        else:
            (path / "log.csv").mkdir(parents=True)


def _socket(path: Path) -> None:
    here = Path.cwd()
    os.chdir(path.parent)
    try:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(path.name)
    finally:
        os.chdir(here)


def odd_names(random: Random, folder: Path) -> None:
    """File names that no program writes, and the same name in several folders."""
    names = ("log\n.csv", "\x1b[31m.csv", "\u202egnp.csv", " ", "~$a.csv", "a.csv ", "-x.csv", "*.csv",
             "[a].csv", "é" * 100 + ".csv", "one/a.csv", "two/a.csv", "one/two/a.csv", "a!b.csv", "<b>.csv",
             "=1+1.csv", "CSQU3054383.csv", "http:.csv", "a.CSV", "a")  # fmt: skip
    for at in random.integers(0, len(names), int(random.integers(1, 6))):
        _good(folder, names[int(at)])
    if random.random() < 0.3:
        os.close(os.open(os.fsencode(folder) + b"/bad\xff\xfe.csv", os.O_CREAT))


def wrong_ending(random: Random, folder: Path) -> None:
    """A sample of one kind under the name of another."""
    every = samples()
    sample = every[int(random.integers(len(every)))]
    endings = ("csv", "xlsx", "parquet", "zip", "gz", "jsonl", "txt", "json", "log", "dat", "xls", "edi")
    (folder / f"log.{endings[int(random.integers(len(endings)))]}").write_bytes(sample.data)


def odd_parquet(random: Random, folder: Path) -> None:
    """Parquet with columns of unusual types, none at all, or very many rows in few bytes."""
    base = pl.read_parquet(io.BytesIO(next(each.data for each in samples() if each.kind == "parquet"))).head(
        20
    )
    kind = int(random.integers(6))
    name = base.columns[int(random.integers(base.width))]
    if kind == 0:
        frame = base.with_columns(pl.struct(pl.all()).alias(name))
    elif kind == 1:
        dtypes = (pl.Binary, pl.Categorical, pl.Date, pl.Time, pl.Duration, pl.List(pl.Int8), pl.Null,
                  pl.Int128, pl.Decimal(20, 3), pl.Boolean, pl.UInt8, pl.Float32,
                  pl.Datetime("ns", "Europe/Amsterdam"), pl.List(pl.List(pl.String)),
                  pl.Datetime("ms"), pl.String)  # fmt: skip
        dtype = dtypes[int(random.integers(len(dtypes)))]
        frame = base.with_columns(pl.lit(None, dtype=dtype).alias(name))
    elif kind == 2:
        frame = base.with_columns(pl.lit(float(random.choice([np.nan, np.inf, -1e308]))).alias(name))
    elif kind == 3:
        frame = pl.DataFrame()
    elif kind == 4:
        frame = base.with_columns(pl.lit("x" * int(10 ** random.uniform(1, 5))).alias(name))
    else:
        rows = int(10 ** random.uniform(3, 5))
        frame = pl.concat([base.head(1)] * 1).select(pl.all().repeat_by(rows).explode())
    frame.write_parquet(folder / "odd.parquet")


SPECIALS: tuple[tuple[Callable[[Random, Path], None], float], ...] = (
    (many_columns, 1.0),
    (many_keys, 0.6),
    (deep_json, 1.0),
    (many_lines, 0.8),
    (claims_2_gb, 1.0),
    (bomb, 0.6),
    (far_cell, 1.0),
    (shared_text, 0.6),
    (odd_members, 2.0),
    (zip_in_zip, 1.0),
    (many_members, 0.3),
    (links, 1.5),
    (no_files, 1.5),
    (odd_names, 2.0),
    (wrong_ending, 2.0),
    (odd_parquet, 2.0),
)
"""Cases that need more than spoilt bytes, and how often each is made."""


def make(number: int, seed: int, folder: Path) -> Case:
    """Make a case.

    Parameters
    ----------
    number, seed
        The same two make the same files.
    folder
        Takes them; empty.
    """
    random = np.random.default_rng([seed, number])
    if random.random() < SPECIAL_SHARE:
        weights = np.array([weight for _, weight in SPECIALS])
        special = SPECIALS[int(random.choice(len(SPECIALS), p=weights / weights.sum()))][0]
        special(random, folder)
        return Case(number, "special", (special.__name__,), (folder,))
    every = samples()
    sample = every[int(random.integers(len(every)))]
    data, done = _spoilt(random, sample)
    if sample.kind == "layout":
        path = folder / sample.name / "layout.toml"
        path.parent.mkdir()
        path.write_bytes(data)
        return Case(number, "layout", done, (folder,))
    path = folder / sample.name
    path.write_bytes(data)
    return Case(number, sample.kind, done, (path,))


def names() -> Iterator[str]:
    """Every mutation by its name."""
    yield from (mutation.__name__ for mutation in BYTES)
    yield from (special.__name__ for special, _ in SPECIALS)
