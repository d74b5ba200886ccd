"""Which of the older encodings a text may have: Windows-1252 where that is sure enough, else a guess.

One byte can mean many letters, so bytes alone never tell an encoding for certain. `is_western` says yes
only where the bytes can't be Japanese two-byte text in everyday characters; `guess_encoding` first looks
for words of the trade, then asks a detector, and gives up where two readings stay likely.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_SIGNS = b"\xb0\xb2\xb3\xb5\xb1\xb7\xd7\xbd"  # ° ² ³ µ ± · × ½
_LETTERS = bytes(sorted(set(range(0xC0, 0x100)) - {0xD7, 0xF7}))
_SMALL_LETTERS = bytes(code for code in _LETTERS if code >= 0xDF)
_PUNCTUATION = b"\x80\x85\x89\x91\x92\x93\x94\x96\x97"  # € … ‰ and quotation marks and dashes

_RUN = re.compile(rb"[\x80-\xff]+[\x00-\x7f]?")
# A sign or letter between ASCII; two small letters, as in "Größe"; a mark before a byte below 0x40.
_WESTERN_RUN = re.compile(
    rb"(?:[%b%b]|[%b]{2})[\x00-\x7f]?|[%b][\x00-\x3f]?"
    % (re.escape(_SIGNS), re.escape(_LETTERS), re.escape(_SMALL_LETTERS), re.escape(_PUNCTUATION))
)
_HIGH = re.compile(rb"[\x80-\xff]+")
# A degree sign of older encodings looks like a letter of Windows-1252 before the C or F of a unit.
_DEGREE_AS_LETTER = re.compile(rb"[\xf8\xa1\xba](?<![A-Za-z\x80-\xff].)[CF](?![A-Za-z])")

CANDIDATES = (
    "cp932",
    "euc_jp",
    "gb18030",
    "big5",
    "euc_kr",
    "cp1252",
    "cp1250",
    "cp1251",
    "cp1253",
    "cp1254",
    "iso8859_2",
    "iso8859_5",
    "iso8859_7",
    "koi8_r",
    "cp437",
    "cp850",
    "mac_roman",
)
"""The encodings that loggers and their programs use, besides Unicode."""

_WORDS_TEXT = """
    温度 時刻 時間 日時 日付 年月日 測定 上部 下部 中央 炉内 炉 扉 左 右 前 奥 設定 記録 チャンネル
    ﾁｬﾝﾈﾙ ｵﾝﾄﾞ 単位
    时间 日期 通道 温度 设定 记录 上层 下层 左侧 右侧 炉门 單位 时刻 单位
    時間 溫度 日期 通道 設定 記錄 上層 下層 左側 右側 爐
    온도 시간 날짜 채널 설정 상단 하단 오븐
    время дата температура температуры канал датчик верх низ дверь слева справа печь уставка центр термопара
    час дата температура канал верх низ
    čas čidlo dveře nahoře střed zařízení snímač měření
    czas godzina ciśnienie góra dół środek drzwi czujnik wartość próbka
    idő dátum hőmérséklet érzékelő felső alsó középső ajtó csatorna
    θερμοκρασία χρόνος ημερομηνία αισθητήρας πάνω κάτω
    sıcaklık tarih zaman üst kapı kanal
    température étuve capteur côté arrière février août étalonnage
    fühler prüfung tür für über außen größe rückwand türseite lüfter kühlwasser heizkörper übertemperatur
    presión válvula estación día mañana año
    posição estação
    kärki lämpötila yläosa ovi
"""
_WORDS = tuple(
    sorted({word for word in _WORDS_TEXT.split() if not word.isascii()}, key=lambda w: (-len(w), w))
)
_UNITS = re.compile(r"(?<![^\W\d_])[°º][CF](?![^\W\d_])|℃|℉")
_WORD = re.compile("|".join(map(re.escape, _WORDS)))
# What no header holds: letters and signs of ASCII's control range, box drawing, private use.
_UNLIKELY = re.compile("[\x80-\x9f\u2500-\u259f\ue000-\uf8ff\ufffd]")
_SAMPLE_BYTES = 1 << 16
_CLEAR_GAP = 0.03
_FEWEST_CHARACTERS = 4
_FEWEST_TRADE_SIGNS = 2


@dataclass(frozen=True, slots=True)
class Guess:
    """The encoding that a text most likely has, or None and why none was chosen."""

    encoding: str | None
    trouble: str = ""


def is_western(data: bytes) -> bool:
    """Whether bytes above ASCII read as ° µ ² ± and letters of Western Europe in Windows-1252.

    Bytes 0x81 to 0x9F, the first of a Japanese two-byte character (kana, or one of the everyday kanji of the
    first level), are allowed only where Shift-JIS could not have put them: behind ASCII, before a byte
    below 0x40. What remains possible: a text whose every two-byte character is one of the rare kanji of the
    second level (first byte 0xE0 to 0xEA) and, beside ASCII, half-width kana, one or two together.
    """
    if _DEGREE_AS_LETTER.search(data):
        return False
    runs = {match[0] for match in _RUN.finditer(data)}
    if not all(map(_WESTERN_RUN.fullmatch, runs)):
        return False
    # Letters that make a word of the trade only in another encoding, as in Czech, are left to a guess.
    readings = _readings(data, whole=False)
    scores = {encoding: _trade_score(text) for encoding, text in readings.items()}
    best = max(scores.values(), default=0)
    return best < _FEWEST_TRADE_SIGNS or scores.get("cp1252", 0) == best


def guess_encoding(data: bytes) -> Guess:
    """Guess which older encoding a text has, or say why none is likely enough.

    Only encodings in which every byte of the file has a meaning take part. Words and units of the trade
    decide; without them charset-normalizer does, where its first choice is clearly before any other reading.

    Parameters
    ----------
    data
        The whole text.

    Returns
    -------
    Guess
        The Python codec's name, or the trouble.
    """
    readings = _readings(data, whole=True)
    if not readings:
        return Guess(None, "no encoding that loggers use gives every byte a meaning")
    scores = {encoding: _trade_score(text) for encoding, text in readings.items()}
    best = max(scores.values())
    if best >= _FEWEST_TRADE_SIGNS:
        chosen = [encoding for encoding in readings if scores[encoding] == best]
        if len({readings[encoding] for encoding in chosen}) == 1:
            return Guess(chosen[0])
    return _detected(data, readings)


def _readings(data: bytes, *, whole: bool) -> dict[str, str]:
    """What the lines with bytes above ASCII say in each encoding that fits them, and the whole file too."""
    sample = _telling_lines(data)
    found = {}
    for encoding in CANDIDATES:
        try:
            text = sample.decode(encoding)
            if whole and not _UNLIKELY.search(text):
                data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if not _UNLIKELY.search(text):
            found[encoding] = text
    return found


def _telling_lines(data: bytes) -> bytes:
    """The distinct lines with bytes above ASCII, some ten thousand bytes of them."""
    lines: dict[bytes, None] = {}
    size = at = 0
    while size < _SAMPLE_BYTES and (match := _HIGH.search(data, at)):
        start = data.rfind(b"\n", 0, match.start()) + 1
        stop = data.find(b"\n", match.end())
        stop = len(data) if stop < 0 else stop
        line = data[start : min(stop, start + _SAMPLE_BYTES)]
        if line not in lines:
            lines[line] = None
            size += len(line)
        at = stop
    return b"\n".join(lines)


def _trade_score(text: str) -> int:
    """How many characters above ASCII stand in words of the trade, units weighing double."""
    folded = text.casefold()
    words = sum(sum(not sign.isascii() for sign in word) for word in _WORD.findall(folded))
    return words + 2 * len(_UNITS.findall(text))


def _detected(data: bytes, readings: dict[str, str]) -> Guess:
    from charset_normalizer import from_bytes

    sample = _telling_lines(data)
    ranked: list[tuple[float, str]] = []
    for encoding, text in readings.items():
        found = from_bytes(
            sample, cp_isolation=[encoding], preemptive_behaviour=False, enable_fallback=False, threshold=1.0
        ).best()
        if found is not None and sum(not sign.isascii() for sign in text) >= _FEWEST_CHARACTERS:
            ranked.append((found.chaos, encoding))
    if not ranked:
        return Guess(None, "too few of its characters tell which encoding it has")
    ranked.sort(key=lambda pair: pair[0])
    chaos, chosen = ranked[0]
    rivals = [encoding for other, encoding in ranked if other < chaos + _CLEAR_GAP]
    rivals = [encoding for encoding in rivals if readings[encoding] != readings[chosen]]
    if rivals or chaos > 0.1:
        likely = ", ".join([chosen, *rivals][:4])
        return Guess(None, f"it may be {likely}" if rivals else "no encoding makes likely words of it")
    return Guess(chosen)
