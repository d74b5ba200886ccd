"""From a file's bytes to UTF-8 text: which encoding, and whether it is text at all.

In this order: a byte order mark; strict UTF-8; what was told; UTF-16 by its NUL bytes; Windows-1252 where
nothing else is likely; a guess, which is a doubt.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.inputs import Bytes, InputFile, view_of

ENCODING_UNKNOWN = RefusalKind(
    "encoding-unknown",
    what="the text's encoding can't be told (byte {byte} at position {position} is not UTF-8, and {trouble})",
    why="A wrong encoding changes names and units without a trace.",
    mend="add --encoding NAME, such as --encoding cp1252 or --encoding shift_jis.",
)
ENCODING_NO_SUCH = RefusalKind(
    "encoding-no-such",
    what="there is no text encoding called '{encoding}'",
    why="The file can't be read with it.",
    mend="add --encoding with another name, such as utf-8, utf-16, cp1252 or shift_jis.",
)
ENCODING_DOES_NOT_FIT = RefusalKind(
    "encoding-does-not-fit",
    what="the bytes are not text in {encoding} (at byte {position})",
    why="The file is damaged or its encoding is another; either would change what is read.",
    mend="copy the file from the logger again, or add --encoding NAME with the right name.",
)
CONTROL_CHARACTERS = RefusalKind(
    "control-characters",
    what="the text holds a control character (code {code}, at byte {position} of the text in UTF-8)",
    why="Logger text holds none: the file is damaged or isn't text, and its numbers can't be trusted.",
    mend="copy or export the file again as .csv or .xlsx; if it is UTF-16 text, add --encoding utf-16-le.",
)
LINE_ENDS_MIXED = RefusalKind(
    "line-ends-mixed",
    what="some lines end in a lone carriage return and others in a line feed",
    why="Where a row ends can't be told.",
    mend="export the file again, or save it from a text editor with one kind of line end.",
)

ENCODING_GUESSED = DoubtKind(
    "encoding-guessed",
    "the text's encoding was guessed: {encoding}, which makes '{example}' of the first word that hangs "
    "on it; if that is wrong, add --encoding NAME (to settle it: --encoding {encoding})",
)

_BLOCK = 1 << 20
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_ASCII = frozenset(map(chr, range(128)))
_NOT_TEXT = bytes(code for code in range(32) if code not in b"\t\n\r") + b"\x7f"
_TEXT_BYTES = bytes(code for code in range(256) if code not in _NOT_TEXT)


@dataclass(frozen=True, slots=True)
class Text:
    """A file's text as UTF-8 with line feeds; it starts at byte `start` of `data`.

    `encoding` words how it was read, `codec` is the name to tell it by, `doubts` holds a guess.
    """

    data: Bytes
    start: int
    encoding: str
    codec: str = "utf-8"
    doubts: tuple[Doubt, ...] = ()


def read_text(file: InputFile, told: str | None) -> Text:
    """Find the encoding of a text file and read it as UTF-8.

    Parameters
    ----------
    file
        The loaded file.
    told
        The encoding that the user named, or None.

    Raises
    ------
    Refusal
        If the encoding stays open, doesn't fit, or the bytes are no text.
    """
    data = file.content
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            if encoding == "utf-8":
                position = _first_not_utf8(data, len(mark))
                if position is not None:
                    raise ENCODING_DOES_NOT_FIT(file=file.name, encoding="UTF-8", position=position)
                return _checked(file, data, len(mark), "UTF-8 with a byte order mark", "utf-8-sig")
            return _decoded(file, encoding, f"{encoding.upper()} with a byte order mark")
    position = _first_not_utf8(data, 0)
    wide = b"\0" in data
    if position is None and not wide:
        return _checked(file, data, 0, "ASCII" if data.isascii() else "UTF-8", "utf-8")
    if told is not None:
        return _decoded(file, told, f"{told}, as told")
    # What is neither ASCII nor UTF-8 is decoded as a whole, and must fit into memory.
    data = file.data
    if wide:
        unmarked = utf_16_without_mark(data)
        if unmarked is not None:
            return _guessed(file, unmarked, f"{unmarked.upper()}, by its NUL bytes")
        if position is None:
            return _checked(file, data, 0, "UTF-8", "utf-8")
    if position is not None and _is_damaged_utf8(data):
        raise ENCODING_DOES_NOT_FIT(file=file.name, encoding="UTF-8", position=position)
    from qualify.readings.encodings import guess_encoding, is_western

    if is_western(data):
        return _decoded(file, "cp1252", "Windows-1252")
    guess = guess_encoding(data)
    if guess.encoding is None:
        byte = data[position - 1] if position is not None else 0
        raise ENCODING_UNKNOWN(file=file.name, byte=f"0x{byte:02X}", position=position, trouble=guess.trouble)
    return _guessed(file, guess.encoding, f"{guess.encoding}, guessed")


def is_text(data: Bytes) -> str | None:
    """Tell why the bytes are not text, or None if they can be."""
    if data.startswith(tuple(mark for mark, _ in _MARKS)):
        return None
    head = data[:_BLOCK]
    # A few strange characters are a damaged text, which `read_text` refuses by their place.
    nul = head.find(b"\0")
    if nul >= 0:
        if utf_16_without_mark(data) is not None:
            return None
        return f"byte {nul + 1} is NUL, as in a binary file"
    controls = len(head.translate(None, delete=_TEXT_BYTES))
    if controls > len(head) // 20:
        return f"{controls} of the first {len(head)} bytes are control characters, as in a binary file"
    return None


def utf_16_without_mark(data: Bytes) -> str | None:
    """Tell whether the bytes are UTF-16 without a byte order mark: "utf-16-le", "utf-16-be" or None.

    Of numbers and Latin letters every second byte is NUL, and none of the others is. The whole must decode
    strictly.
    """
    if len(data) % 2:
        return None
    head = data[:_BLOCK]
    even, odd = head[0::2], head[1::2]
    for encoding, high, low in (("utf-16-le", odd, even), ("utf-16-be", even, odd)):
        if low.count(0) or high.count(0) * 2 < len(high):
            continue
        decoder = codecs.getincrementaldecoder(encoding)("strict")
        view = view_of(data)
        try:
            for at in range(0, len(data), _BLOCK):
                if "\0" in decoder.decode(bytes(view[at : at + _BLOCK]), final=at + _BLOCK >= len(data)):
                    return None
        except UnicodeDecodeError:
            return None
        return encoding
    return None


def _first_not_utf8(data: Bytes, start: int) -> int | None:
    """Position of the first byte that breaks UTF-8, counted from 1; in blocks, to hold no second copy."""
    if data.isascii():
        return None
    decoder = codecs.getincrementaldecoder("utf-8")("strict")
    view = view_of(data)
    for at in range(start, len(data), _BLOCK):
        block = bytes(view[at : at + _BLOCK])
        if block.isascii() and not decoder.getstate()[0]:
            continue
        try:
            decoder.decode(block, final=at + _BLOCK >= len(data))
        except UnicodeDecodeError as error:
            return at + error.start + 1
    return None


def _is_damaged_utf8(data: bytes) -> bool:
    """Whether the bytes are UTF-8 but for a few: a sound character beyond ASCII for each broken byte.

    Other encodings make a sound one only by chance.
    """
    sound = data.decode("utf-8", "ignore")
    broken = len(data) - len(sound.encode("utf-8"))
    return sum(map(sound.count, set(sound) - _ASCII)) >= max(broken, 2)


def _guessed(file: InputFile, encoding: str, worded: str) -> Text:
    text = _decoded(file, encoding, worded)
    head = text.data[text.start : text.start + _BLOCK].decode("utf-8", "ignore")
    strange = re.search(r"[^\s,;|\t\"]*[^\x00-\x7f][^,;|\t\n\r\"]*", head)
    example = strange[0].strip()[:40] if strange is not None else head.split("\n", 1)[0].strip()[:40]
    doubt = ENCODING_GUESSED(file=file.name, encoding=encoding, example=example)
    return Text(text.data, text.start, worded, text.codec, (doubt,))


def _decoded(file: InputFile, encoding: str, worded: str) -> Text:
    try:
        text = file.data.decode(encoding)
    except LookupError:
        raise ENCODING_NO_SUCH(file=file.name, encoding=encoding) from None
    except UnicodeDecodeError as error:
        raise ENCODING_DOES_NOT_FIT(file=file.name, encoding=encoding, position=error.start + 1) from None
    try:
        data = text.removeprefix("\ufeff").encode("utf-8")
    except UnicodeEncodeError as error:
        raise ENCODING_DOES_NOT_FIT(file=file.name, encoding=encoding, position=error.start + 1) from None
    return _checked(file, data, 0, worded, encoding)


def _checked(file: InputFile, data: Bytes, start: int, worded: str, codec: str) -> Text:
    view = view_of(data)
    for at in range(start, len(data), _BLOCK):
        controls = bytes(view[at : at + _BLOCK]).translate(None, delete=_TEXT_BYTES)
        if controls:
            position = data.index(controls[:1], at) + 1
            raise CONTROL_CHARACTERS(file=file.name, code=controls[0], position=position)
    if b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
        if b"\n" in data:
            raise LINE_ENDS_MIXED(file=file.name)
        data = (data if isinstance(data, bytes) else data[:]).replace(b"\r", b"\n")
    return Text(data, start, worded, codec)
