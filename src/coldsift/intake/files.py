"""From paths to bytes: folders, globs, zip and gzip opened, each source named as the user gave it.

Goes in: paths, also addresses of other file systems (``scheme://``), which are reached through fsspec and
only where the user names them. Comes out: one payload per readable file or archive member, and a message per
unreadable one.
"""

from __future__ import annotations

import errno
import glob
import io
import json
import os
import re
import stat
import struct
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path, PurePath, PurePosixPath

from coldsift.intake.records import Message

LARGEST_MEMBER = 2 * 1024**3
"""Most bytes that one file may have, unpacked where it is packed."""
SMALLEST_LIMIT, MOST_TIMES = 64 * 1024**2, 250
"""Bytes that a packed file may always unpack to, and how many times its size beyond that: logs come to twenty
times, a file made to fill the memory to a thousand."""
LARGEST_ARCHIVE = 16 * 1024**3
"""Most bytes that one archive may unpack to."""
MOST_MEMBERS = 20_000
"""Most members that one archive may have."""
MOST_MATCHES = 200_000
"""Most files that one pattern may match; links that lead back match without end."""
LONGEST_NAME = 255
"""Most characters of a member's name that are shown."""
_PIECE = 16 * 1024
"""Bytes of a gzip file that are unpacked at once."""
ZIP_FAULTS = (
    *(zipfile.BadZipFile, zlib.error, struct.error, OSError, EOFError),
    *(ValueError, RuntimeError, NotImplementedError, IndexError, OverflowError),
)
"""What a damaged zip archive can make its reader raise."""
_ENTRY = b"PK\x01\x02"
"""How an entry in the directory of a zip archive begins."""

_TRIES = 3
"""Times that a file which changes is read."""

NOT_LOGS = frozenset(
    f".{ending}"
    for ending in (
        *("md", "pdf", "html", "htm", "doc", "docx", "rtf", "msg", "eml"),
        *("png", "jpg", "jpeg", "gif", "svg"),
        *("json", "toml", "ini", "xml", "yaml", "yml", "edi", "db", "py", "js", "css", "exe"),
    )
)
"""Endings that a folder may hold beside logs; such a file is read only when it is named itself."""


@dataclass(frozen=True, slots=True)
class Found:
    """A file, the path shown for it, and its size where that is known, else 0. [byte]

    ``path`` is a text for a file on another file system.
    """

    shown: str
    path: Path | str
    size: int = 0

    @property
    def name(self) -> str:
        """Its bare name."""
        return str(self.path).rsplit("/", 1)[-1] if isinstance(self.path, str) else self.path.name

    def read(self) -> bytes:
        """All of it.

        Raises
        ------
        OSError
            When it cannot be read, whatever the other file system says.
        """
        return read_remote(self.path) if isinstance(self.path, str) else read_regular(self.path)


class NoFile(OSError):
    """A path names a pipe, a device or a socket, or a file that is too large."""


def read_regular(path: Path, most: int = LARGEST_MEMBER) -> bytes:
    """All of a file; pipes, devices and sockets, which may never end, are not read.

    Parameters
    ----------
    path
        Links are followed.
    most
        Bytes that it may have.

    Raises
    ------
    NoFile
        When it is no file, or too large.
    OSError
        When it cannot be read.
    """
    # Without this a pipe would be waited for that nobody writes to.
    with os.fdopen(
        os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)), "rb"
    ) as file:
        mode = os.fstat(file.fileno()).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if not stat.S_ISREG(mode):
            raise NoFile(errno.EINVAL, "It is a pipe, a device or a socket, not a file")
        content = file.read(most + 1)
    if len(content) > most:
        raise NoFile(errno.EFBIG, f"It has more than {most // 1024**2} MiB")
    return content


@dataclass(frozen=True, slots=True)
class Payload:
    """Bytes of one source.

    Attributes
    ----------
    shown
        Path shown to the user, with ``!member`` for archive members.
    name
        Bare file name; may hold the container number.
    stored
        Bytes as stored, for hash and size.
    data
        Bytes to read: the same, unpacked when gzip.
    trouble
        Why the unpacked bytes are not all there; empty when they are.
    refusal
        Why nothing of it is read, such as a damaged archive; None when it is.
    """

    shown: str
    name: str
    stored: bytes
    data: bytes
    trouble: str = ""
    refusal: Message | None = None


def gather(paths: Sequence[Path | str]) -> tuple[list[Found], list[Message]]:
    """Every file under the paths, once, in the order of the shown paths.

    Parameters
    ----------
    paths
        Files, folders (searched through) or glob patterns.

    Returns
    -------
    tuple
        The files, and messages for paths that are missing or hold nothing.
    """
    messages: list[Message] = []
    found: dict[Path, set[tuple[str, str]]] = {}
    remote: dict[Path | str, Found] = {}
    walked: dict[str, set[Path]] = {}
    left_out: dict[Path, list[Message]] = {}
    for given in dict.fromkeys(str(path) for path in paths):
        path = Path(given)
        if is_remote(given):
            for file in _remote_files(given, messages):
                place = _here(file) or file.shown
                remote[place] = min(file, remote.get(place, file), key=lambda each: str(each.path))
        elif path.is_dir():
            walked[given] = set()
            for name in _walk(path, messages):
                full = path / name
                walked[given].add(_real(full))
                if full.suffix.lower() in NOT_LOGS:
                    left_out.setdefault(_real(full), []).append(_left_out(name))
                else:
                    found.setdefault(_real(full), set()).add((name.as_posix(), full.as_posix()))
        elif _exists(path):
            found.setdefault(_real(path), set()).add((path.name, path.as_posix()))
        else:
            matches = _matches(given, messages)
            for match in matches:
                path = Path(match)
                if path.is_file():
                    found.setdefault(_real(path), set()).add((path.name, path.as_posix()))
    files = [Found(_readable(name), path, _size(path)) for path, name in _shown_names(found).items()]
    files += [file for place, file in remote.items() if place not in found]
    messages += [
        Message("error", given, None, "The folder holds no logs.", "Give the folder of the logs.")
        for given, places in walked.items()
        if not places & found.keys()
    ]
    messages += [
        min(told, key=lambda message: message.file) for path, told in left_out.items() if path not in found
    ]
    told = [replace(message, file=_readable(message.file)) for message in messages]
    return sorted(files, key=lambda file: file.shown), told


def _shown_names(found: Mapping[Path, set[tuple[str, str]]]) -> dict[Path, str]:
    """The name shown for each file: its short one, else the path as given, else the whole path.

    A file that is given in several ways has several of both; which are taken does not depend on their order.
    """
    names = {path: min(given, key=lambda name: (-len(name[0]), name)) for path, given in found.items()}
    times = Counter(short for short, _ in names.values())
    shown = {path: full if times[short] > 1 else short for path, (short, full) in names.items()}
    times = Counter(shown.values())
    return {path: path.as_posix() if times[name] > 1 else name for path, name in shown.items()}


def _matches(pattern: str, messages: list[Message]) -> list[str]:
    """Files that a pattern matches, sorted."""
    if not glob.has_magic(pattern):
        messages.append(
            Message("error", pattern, None, "No such file or folder.", "Check the path's spelling.")
        )
        return []
    matches = sorted(islice(glob.iglob(pattern, recursive=True), MOST_MATCHES))  # noqa: PTH207
    if len(matches) == MOST_MATCHES:
        what = f"It matches {MOST_MATCHES} files or more; the others are not looked at."
        messages.append(Message("error", pattern, None, what, "Give the folder of the logs."))
    elif not matches:
        messages.append(Message("error", pattern, None, "Nothing matches it.", "Check the pattern."))
    return matches


def _left_out(path: PurePath) -> Message:
    what = f"Left out: a {path.suffix} file is not a log by its name."
    return Message("note", path.as_posix(), None, what, "Name the file itself to have it read.")


def _readable(name: str) -> str:
    """A name that can be printed: bytes that are no UTF-8, as a memory stick may hold, as their codes."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def _remote_files(given: str, messages: list[Message]) -> Iterator[Found]:
    """Files of another file system: under a folder, by a pattern, or one; shown by their whole address."""
    try:
        files = find_remote(given)
        outputs = {
            found.shown.removesuffix(found.name)
            for found in files
            if found.name in RECORDS and found.path != given and is_record(found.read())
        }
    except OSError as error:
        messages.append(
            Message(
                "error", given, None, f"This place cannot be read: {error}.", "Check its address and rights."
            )
        )
        return
    there = False
    messages += [_outputs_left_out(shown) for shown in sorted(outputs)]
    for found in files:
        if found.path != given and found.shown.startswith(tuple(outputs)):
            continue
        if found.path != given and PurePosixPath(found.name).suffix.lower() in NOT_LOGS:
            messages.append(replace(_left_out(PurePosixPath(found.name)), file=found.shown))
        else:
            there = True
            yield found
    if not there:
        messages.append(Message("error", given, None, "There are no logs here.", "Check the address."))


def _walk(folder: Path, messages: list[Message]) -> list[Path]:
    def unreadable(error: OSError) -> None:
        messages.append(
            Message(
                "error",
                str(error.filename or folder),
                None,
                f"The folder cannot be opened: {error.strerror}.",
                "Check its permissions.",
            )
        )

    names = []
    for root, folders, files in os.walk(folder, onerror=unreadable):
        if _holds_outputs(Path(root), files):
            folders.clear()
            within = Path(root).relative_to(folder).as_posix()
            messages.append(_outputs_left_out(str(folder) if within == "." else within))
            continue
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in folders:
            if (Path(root) / name).is_symlink():
                shown = (Path(root) / name).relative_to(folder).as_posix()
                what = "Left out: a link to a folder, which may lead anywhere."
                messages.append(
                    Message("note", shown, None, what, "Name that folder itself to have it read.")
                )
        for name in sorted(files):
            if not name.startswith(".") and not name.startswith("~$"):
                names.append((Path(root) / name).relative_to(folder))
    return names


def _holds_outputs(folder: Path, files: Sequence[str]) -> bool:
    """Whether coldsift wrote a folder: a run, inspections, a dossier's bundle, or an archive."""
    if {"voyages.parquet", ".lock"} <= set(files):
        return True
    try:
        return any(is_record(read_regular(folder / name)) for name in RECORDS if name in files)
    except OSError:
        return False


RECORDS = ("manifest.json", "dossier.json")
"""Files by which outputs of coldsift are known."""


def is_record(content: bytes) -> bool:
    """Whether a file of :data:`RECORDS` is one of coldsift: other programs have a manifest.json too."""
    try:
        told = json.loads(content)
        return told.get("tool") == "coldsift" or "coldsift" in told.get("versions", ())
    except (ValueError, AttributeError, TypeError, RecursionError):
        return False


def _outputs_left_out(shown: str) -> Message:
    what = "Left out: a folder that coldsift wrote, with no logs in it."
    return Message("note", shown, None, what, "Name a file in it itself to have it read.")


def is_remote(path: Path | str) -> bool:
    """Whether this is the address of another file system, rather than a path of this machine."""
    return isinstance(path, str) and "://" in path


def find_remote(address: str) -> list[Found]:
    """Every file under an address, or the file itself.

    Raises
    ------
    OSError
        When it cannot be looked at; says why.
    """
    with remote_faults():
        import fsspec

        system, path = fsspec.core.url_to_fs(address)
        pattern = "*" in path
        if pattern:
            known = system.glob(path)
        else:
            known = system.expand_path(path, recursive=True) if system.exists(path) else []
        # What stands before the path, such as a host, is not told again by every file system.
        whole, end = address.rstrip("/"), path.rstrip("/")
        before = whole.removesuffix(end) if whole.endswith(end) else None
        addresses = [
            system.unstrip_protocol(each) if before is None else before + each
            for each in sorted(known)
            if system.isfile(each) and (pattern or not _hidden(each.removeprefix(path)))
        ]
        return [Found(_without_password(each), each, system.size(each) or 0) for each in addresses]


def _here(file: Found) -> Path | None:
    """Where a file lies on this machine, that an address was given for; None for one elsewhere."""
    scheme, _, path = str(file.path).partition("://")
    return _real(Path(path)) if scheme in ("file", "local") else None


def _hidden(path: str) -> bool:
    return any(name.startswith((".", "~$")) for name in path.split("/"))


def _without_password(address: str) -> str:
    return re.sub(r"(?<=//)[^/@]*@", "", address)


def read_remote(address: str) -> bytes:
    """A file of another file system.

    Raises
    ------
    OSError
        When it cannot be read; says why.
    """
    with remote_faults():
        import fsspec

        with fsspec.open(address, "rb") as handle:
            content: bytes = handle.read()
    return content


@contextmanager
def remote_faults() -> Iterator[None]:
    """Whatever another file system raises, as an OSError that says it."""
    try:
        yield
    except OSError:
        raise
    except ImportError as error:
        raise OSError(
            f"{error}; pip install 'coldsift[cluster]' or the package of that file system"
        ) from error
    # Each file system is somebody else's code and raises as it likes.
    except Exception as error:
        raise OSError(f"{type(error).__name__}: {error}") from error


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _real(path: Path) -> Path:
    return Path(os.path.realpath(path))


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return True


def load(found: Found) -> bytes | Message:
    """The bytes of one file as stored, all of one state; a message where it cannot be read."""
    try:
        for _ in range(_TRIES):
            before = state_of(found)
            stored = found.read()
            if state_of(found) in (before, None):
                return stored
    except OSError as error:
        return Message(
            "error",
            found.shown,
            None,
            f"The file cannot be read: {error.strerror or str(error) or type(error).__name__}.",
            "Check that it exists and that you may read it.",
        )
    return Message(
        "error",
        found.shown,
        None,
        f"The file changed while it was read, {_TRIES} times in a row, and was left out.",
        "Wait until it is written, and screen again.",
    )


def state_of(found: Found) -> tuple[int, ...] | None:
    """What tells that a file was changed: another is another state; None where it is not there any more.

    Of another file system nothing is known.
    """
    if isinstance(found.path, str):
        return ()
    try:
        now = found.path.stat()
    except OSError:
        return None
    return now.st_dev, now.st_ino, now.st_size, now.st_mtime_ns


def changed_since(found: Found, state: tuple[int, ...] | None) -> Message | None:
    """A message when a file is not any more in the state in which it was read."""
    now = state_of(found)
    if now == state:
        return None
    return Message(
        "warning",
        found.shown,
        None,
        f"The file {'went away' if now is None else 'was changed'} after it was read: all that is told is of "
        "the file as it was, with the SHA-256 given.",
        "Screen again when it is written.",
    )


def open_file(found: Found, stored: bytes) -> Iterator[Payload | Message]:
    """The payloads of one file: itself, or each member when it is a zip archive.

    Parameters
    ----------
    found, stored
        The file, and its bytes from :func:`load`.

    Yields
    ------
    Payload or Message
        A message takes the place of what cannot be read.
    """
    yield from _unpack(found.shown, found.name, stored)


def _unpack(shown: str, name: str, stored: bytes, inside: bool = False) -> Iterator[Payload | Message]:
    if stored[:2] == b"\x1f\x8b":
        payload = _gunzip(shown, name, stored)
        yield replace(payload, refusal=_nested(shown)) if _is_archive(payload.data) else payload
    elif not _is_archive(stored):
        yield Payload(shown, name, stored, stored)
    elif inside:
        yield _nested(shown)
    else:
        yield from _members(shown, stored)


def _is_archive(data: bytes) -> bool:
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06") and not _is_workbook(data)


def _nested(shown: str) -> Message:
    return Message("error", shown, None, "An archive inside an archive is not opened.", "Unpack it first.")


def limit_of(packed: int) -> int:
    """Bytes that a packed file of this size may unpack to."""
    return min(LARGEST_MEMBER, max(SMALLEST_LIMIT, MOST_TIMES * packed))


def _gunzip(shown: str, name: str, stored: bytes) -> Payload:
    unpacked, rest, trouble = bytearray(), memoryview(stored), ""
    most = limit_of(len(stored))
    while bytes(rest[:2]) == b"\x1f\x8b" and not trouble:
        stream = zlib.decompressobj(wbits=31)
        while rest and not stream.eof and not trouble:
            piece = rest[:_PIECE]
            try:
                unpacked += stream.decompress(piece, most + 1 - len(unpacked))
            except zlib.error as error:
                trouble = str(error)
            if len(unpacked) > most:
                return Payload(shown, name, stored, b"", refusal=_too_large(shown, most))
            rest = rest[len(piece) - len(stream.unused_data) :]
        if not stream.eof:
            trouble = trouble or "it ends too early"
    if trouble and not unpacked:
        damaged = Message(
            "error", shown, None, f"The gzip file is damaged: {trouble}.", "Fetch the file once more."
        )
        return Payload(shown, name, stored, b"", refusal=damaged)
    bare = name[:-3] if name.lower().endswith(".gz") else name
    return Payload(shown, bare, stored, bytes(unpacked), trouble)


def _is_workbook(stored: bytes) -> bool:
    try:
        with zipfile.ZipFile(io.BytesIO(stored)) as archive:
            return "xl/workbook.xml" in archive.namelist()
    except ZIP_FAULTS:
        return False


def _members(shown: str, stored: bytes) -> Iterator[Payload | Message]:
    # Counted before each is made an object; an archive may hold others as they are, with entries of theirs.
    if (entries := stored.count(_ENTRY)) > 10 * MOST_MEMBERS:
        yield _too_many(shown, entries)
        return
    try:
        archive = zipfile.ZipFile(io.BytesIO(stored))
    except ZIP_FAULTS as error:
        damaged = Message(
            "error", shown, None, f"The zip archive is damaged ({error}).", "Fetch it once more."
        )
        yield Payload(shown, Path(shown).name, stored, b"", refusal=damaged)
        return
    with archive:
        members = [member for member in archive.infolist() if not member.filename.endswith("/")]
        if not members:
            yield Message("error", shown, None, "The zip archive is empty.", "Leave it out.")
        if len(members) > MOST_MEMBERS:
            yield _too_many(shown, len(members))
            return
        unpacked = 0
        seen: Counter[str] = Counter()
        for member in sorted(members, key=lambda member: member.filename):
            path = PurePosixPath(member.filename.replace("\\", "/"))
            place = f"{shown}!{_readable(member.filename)[:LONGEST_NAME]}"
            seen[place] += 1
            if seen[place] > 1:
                place = f"{place} ({seen[place]})"
            if path.name.startswith(".") or "__MACOSX" in path.parts:
                continue
            if path.is_absolute() or ".." in path.parts or ":" in (path.parts[:1] or ("",))[0]:
                yield Message(
                    "error",
                    place,
                    None,
                    "Refused: the member's path climbs out of the archive.",
                    "Ask where this archive comes from; do not unpack it.",
                )
                continue
            if path.suffix.lower() in NOT_LOGS:
                yield Message(
                    "note",
                    place,
                    None,
                    f"Left out: a {path.suffix} file is not a log by its name.",
                    "Unpack it and name the file itself to have it read.",
                )
                continue
            if path.suffix.lower() == ".zip":
                yield _nested(place)
                continue
            content = _member(archive, member, place)
            if isinstance(content, Message):
                yield content
                continue
            unpacked += len(content)
            if unpacked > LARGEST_ARCHIVE:
                yield _too_large(place, LARGEST_ARCHIVE)
                return
            yield from _unpack(place, path.name, content, inside=True)


def _too_many(shown: str, members: int) -> Message:
    return Message(
        "error",
        shown,
        None,
        f"The zip archive has {members} members, more than {MOST_MEMBERS}.",
        "Unpack it and give the folder.",
    )


def _member(archive: zipfile.ZipFile, member: zipfile.ZipInfo, place: str) -> bytes | Message:
    most = limit_of(member.compress_size)
    if member.file_size > most:
        return _too_large(place, most)
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        what = "The member is packed in another way than the usual one, deflate."
        return Message("error", place, None, what, "Unpack it by hand.")
    try:
        with archive.open(member) as stream:
            content = stream.read(most + 1)
    except ZIP_FAULTS as error:
        return Message(
            "error",
            place,
            None,
            f"The member cannot be unpacked ({error}).",
            "Unpack it by hand, or refetch it.",
        )
    return _too_large(place, most) if len(content) > most else content


def _too_large(place: str, most: int) -> Message:
    return Message(
        "error",
        place,
        None,
        f"Refused: it unpacks to more than {most // 1024**2} MiB.",
        "Split it, or unpack it by hand.",
    )
