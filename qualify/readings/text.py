"""From a file's bytes to UTF-8 text: which encoding, and whether it is text at all."""

from __future__ import annotations

import codecs
from dataclasses import dataclass

from qualify.findings import RefusalKind
from qualify.inputs import InputFile

ENCODING_UNKNOWN = RefusalKind(
    "encoding-unknown",
    what="the text's encoding can't be told (byte {byte} at position {position} is neither UTF-8 nor one of "
    "° µ ² ± and the letters of Western Europe in Windows-1252)",
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

_BLOCK = 1 << 20
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_WESTERN = frozenset(b"\xb0\xb5\xb2\xb1\x8a\x8c\x8e\x9a\x9c\x9e\x9f") | (
    frozenset(range(0xC0, 0x100)) - {0xD7, 0xF7}
)
_NOT_TEXT = bytes(code for code in range(32) if code not in b"\t\n\r") + b"\x7f"
_TEXT_BYTES = bytes(code for code in range(256) if code not in _NOT_TEXT)


@dataclass(frozen=True, slots=True)
class Text:
    """A file's text as UTF-8 with line feeds; it starts at byte `start` of `data`."""

    data: bytes
    start: int
    encoding: str


def read_text(file: InputFile, told: str | None) -> Text:
    """Find the encoding of a text file, in the order mark, strict UTF-8, told, Windows-1252.

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
    data = file.data
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            if encoding == "utf-8":
                position = _first_not_utf8(data, len(mark))
                if position is not None:
                    raise ENCODING_DOES_NOT_FIT(file=file.name, encoding="UTF-8", position=position)
                return _checked(file, data, len(mark), "UTF-8 with a byte order mark")
            return _decoded(file, encoding, f"{encoding.upper()} with a byte order mark")
    position = _first_not_utf8(data, 0)
    if position is None and not (told is not None and b"\0" in data):
        return _checked(file, data, 0, "ASCII" if data.isascii() else "UTF-8")
    if told is not None:
        return _decoded(file, told, f"{told}, as told")
    strange = data.translate(None, delete=bytes(range(128)) + bytes(_WESTERN))
    if strange:
        raise ENCODING_UNKNOWN(
            file=file.name, byte=f"0x{strange[0]:02X}", position=data.index(strange[:1]) + 1
        )
    return _decoded(file, "cp1252", "Windows-1252")


def is_text(data: bytes) -> str | None:
    """Tell why the bytes are not text, or None if they can be."""
    if data.startswith(tuple(mark for mark, _ in _MARKS)):
        return None
    head = data[:_BLOCK]
    # A few strange characters are a damaged text, which `read_text` refuses by their place.
    nul = head.find(b"\0")
    if nul >= 0:
        return f"byte {nul + 1} is NUL, as in a binary file"
    controls = len(head.translate(None, delete=_TEXT_BYTES))
    if controls > len(head) // 20:
        return f"{controls} of the first {len(head)} bytes are control characters, as in a binary file"
    return None


def _first_not_utf8(data: bytes, start: int) -> int | None:
    """Position of the first byte that breaks UTF-8, counted from 1; in blocks, to hold no second copy."""
    if data.isascii():
        return None
    decoder = codecs.getincrementaldecoder("utf-8")("strict")
    view = memoryview(data)
    for at in range(start, len(data), _BLOCK):
        block = bytes(view[at : at + _BLOCK])
        if block.isascii() and not decoder.getstate()[0]:
            continue
        try:
            decoder.decode(block, final=at + _BLOCK >= len(data))
        except UnicodeDecodeError as error:
            return at + error.start + 1
    return None


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
    return _checked(file, data, 0, worded)


def _checked(file: InputFile, data: bytes, start: int, encoding: str) -> Text:
    view = memoryview(data)
    for at in range(start, len(data), _BLOCK):
        controls = bytes(view[at : at + _BLOCK]).translate(None, delete=_TEXT_BYTES)
        if controls:
            position = data.index(controls[:1], at) + 1
            raise CONTROL_CHARACTERS(file=file.name, code=controls[0], position=position)
    if b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
        if b"\n" in data:
            raise LINE_ENDS_MIXED(file=file.name)
        data = data.replace(b"\r", b"\n")
    return Text(data, start, encoding)
