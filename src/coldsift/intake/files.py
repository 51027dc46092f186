"""From paths to bytes: folders, globs, zip and gzip opened, each source named as the user gave it.

Goes in: paths, also addresses of other file systems (``scheme://``), which are reached through fsspec and
only where the user names them. Comes out: one payload per readable file or archive member, and a message per
unreadable one.
"""

from __future__ import annotations

import glob
import io
import os
import re
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path, PurePath, PurePosixPath

from coldsift.intake.records import Message

LARGEST_MEMBER = 2 * 1024**3
"""Most bytes that one unpacked file may have."""
LARGEST_ARCHIVE = 16 * 1024**3
"""Most bytes that one archive may unpack to."""
MOST_MEMBERS = 20_000
"""Most members that one archive may have."""

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
        return read_remote(self.path) if isinstance(self.path, str) else self.path.read_bytes()


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
    found: dict[Path, tuple[str, str]] = {}
    remote: dict[str, Found] = {}
    for given in dict.fromkeys(str(path) for path in paths):
        path = Path(given)
        if is_remote(given):
            remote |= {file.shown: file for file in _remote_files(given, messages)}
        elif path.is_dir():
            names = _walk(path, messages)
            for name in names:
                full = path / name
                if full.suffix.lower() in NOT_LOGS:
                    messages.append(_left_out(name))
                else:
                    found.setdefault(_real(full), (name.as_posix(), full.as_posix()))
            if not any(_real(path / name) in found for name in names):
                messages.append(
                    Message("error", given, None, "The folder holds no logs.", "Give the folder of the logs.")
                )
        elif _exists(path):
            found.setdefault(_real(path), (path.name, path.as_posix()))
        else:
            matches = sorted(glob.glob(given, recursive=True)) if glob.has_magic(given) else []  # noqa: PTH207
            for match in matches:
                if Path(match).is_file():
                    found.setdefault(_real(Path(match)), (Path(match).name, Path(match).as_posix()))
            if not matches:
                messages.append(
                    Message("error", given, None, "No such file or folder.", "Check the path's spelling.")
                )
    times_shown = Counter(short for short, _ in found.values())
    files = [
        Found(_readable(full if times_shown[short] > 1 else short), path, _size(path))
        for path, (short, full) in found.items()
    ]
    told = [replace(message, file=_readable(message.file)) for message in messages]
    return sorted([*files, *remote.values()], key=lambda file: file.shown), told


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
    except OSError as error:
        messages.append(
            Message(
                "error", given, None, f"This place cannot be read: {error}.", "Check its address and rights."
            )
        )
        return
    there = False
    for found in files:
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
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            if not name.startswith(".") and not name.startswith("~$"):
                names.append((Path(root) / name).relative_to(folder))
    return names


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
    """The bytes of one file as stored; a message where it cannot be read."""
    try:
        return found.read()
    except OSError as error:
        return Message(
            "error",
            found.shown,
            None,
            f"The file cannot be read: {error.strerror or str(error) or type(error).__name__}.",
            "Check that it exists and that you may read it.",
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


def _unpack(shown: str, name: str, stored: bytes) -> Iterator[Payload | Message]:
    if stored[:2] == b"\x1f\x8b":
        yield _gunzip(shown, name, stored)
    elif stored[:4] in (b"PK\x03\x04", b"PK\x05\x06") and not _is_workbook(stored):
        yield from _members(shown, stored)
    else:
        yield Payload(shown, name, stored, stored)


def _gunzip(shown: str, name: str, stored: bytes) -> Payload:
    unpacked, rest, trouble = bytearray(), stored, ""
    while rest[:2] == b"\x1f\x8b" and not trouble:
        stream = zlib.decompressobj(wbits=31)
        try:
            unpacked += stream.decompress(rest, LARGEST_MEMBER + 1 - len(unpacked))
        except zlib.error as error:
            trouble = str(error)
        if len(unpacked) > LARGEST_MEMBER:
            return Payload(shown, name, stored, b"", refusal=_too_large(shown))
        if not stream.eof:
            trouble = trouble or "it ends too early"
        rest = stream.unused_data
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
    except (zipfile.BadZipFile, ValueError, OSError):
        return False


def _members(shown: str, stored: bytes) -> Iterator[Payload | Message]:
    try:
        archive = zipfile.ZipFile(io.BytesIO(stored))
    except (zipfile.BadZipFile, ValueError, OSError) as error:
        damaged = Message(
            "error", shown, None, f"The zip archive is damaged ({error}).", "Fetch it once more."
        )
        yield Payload(shown, Path(shown).name, stored, b"", refusal=damaged)
        return
    with archive:
        members = [member for member in archive.infolist() if not member.is_dir()]
        if not members:
            yield Message("error", shown, None, "The zip archive is empty.", "Leave it out.")
        if len(members) > MOST_MEMBERS:
            yield Message(
                "error",
                shown,
                None,
                f"The zip archive has {len(members)} members, more than {MOST_MEMBERS}.",
                "Unpack it and give the folder.",
            )
            return
        unpacked = 0
        for member in sorted(members, key=lambda member: member.filename):
            path = PurePosixPath(member.filename.replace("\\", "/"))
            place = f"{shown}!{member.filename}"
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
                yield Message(
                    "error", place, None, "An archive inside an archive is not opened.", "Unpack it first."
                )
                continue
            content = _member(archive, member, place)
            if isinstance(content, Message):
                yield content
                continue
            unpacked += len(content)
            if unpacked > LARGEST_ARCHIVE:
                yield _too_large(place)
                return
            yield from _unpack(place, path.name, content)


def _member(archive: zipfile.ZipFile, member: zipfile.ZipInfo, place: str) -> bytes | Message:
    try:
        with archive.open(member) as stream:
            content = stream.read(LARGEST_MEMBER + 1)
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, RuntimeError, NotImplementedError) as error:
        return Message(
            "error",
            place,
            None,
            f"The member cannot be unpacked ({error}).",
            "Unpack it by hand, or refetch it.",
        )
    return _too_large(place) if len(content) > LARGEST_MEMBER else content


def _too_large(place: str) -> Message:
    return Message(
        "error",
        place,
        None,
        f"Refused: it unpacks to more than {LARGEST_MEMBER // 1024**2} MiB.",
        "Split it, or unpack it by hand.",
    )
