"""Typed listings and dumps: every layout is read as it was meant, and every slip of a typist is told with its line."""

from __future__ import annotations

import random
from functools import cache

import pytest

from tests.typing_errors import DUMPS, LISTINGS, SLIPS, Dump, definitions, dumped, image, program, spans
from xasm.recovery.typed import MOST_LINES, Typed, read_typed
from xasm.reports.listing import listing
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.source.files import Source
from xasm.target.decode import Decoder
from xasm.target.finding import load_target, table_paths

TABLES = list(table_paths())
BYTES = [name for name in TABLES if load_target(name).word == 8]  # the layouts are those of bytes in hexadecimal
SAMPLES_OF = ("halt", "beacon")
EACH = 1  # slips of a kind in each layout


def read(chip: str, text: str, lenient: bool = False, words: str = "hex", places: str = "hex", at: int | None = None) -> Typed:
    return read_typed(Source("typed.txt", text), load_target(chip), Report(), at, words, places, lenient)


def words_of(typed: Typed) -> dict[int, int]:
    return {start + index: word for start, words in typed.image.spans for index, word in enumerate(words)}


@cache
def rows_of(chip: str, layout: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The lines in front, and the rows, of a beacon in a layout."""
    lines = program(chip, "beacon")
    if layout in LISTINGS:
        return definitions(chip, "beacon"), tuple(map(LISTINGS[layout], lines))
    return (), tuple(dumped(image(lines), DUMPS[layout]))


@pytest.mark.parametrize("chip", BYTES)
@pytest.mark.parametrize("layout", [*LISTINGS, *DUMPS])
def test_layouts(chip: str, layout: str) -> None:
    head, rows = rows_of(chip, layout)
    try:
        typed = read(chip, "\n".join([*head, *rows]))
    except SourceErrors as errors:  # one sample leaves out just as much as a row of eight has
        assert (chip, [one.code for one in errors.diagnostics]) == ("4004", ["typed_gap"])
        assert layout in DUMPS and DUMPS[layout].row == 8
        typed = read(chip, "\n".join([*head, *rows]), lenient=True)
    assert words_of(typed) == image(program(chip, "beacon"))
    assert not [one for one in typed.taken if one.severity != "warning"]
    if layout in LISTINGS:
        assert len(typed.told.code) * 2 > len(program(chip, "beacon")) / 2
        labels = {line.label for line in program(chip, "beacon") if line.label}
        assert labels and labels <= {*typed.told.names.values()}


@pytest.mark.parametrize("chip", BYTES)
def test_our_own_listings(chip: str) -> None:
    from xasm.building import build

    linked = build([f"samples/{chip}/halt.asm"])
    assert words_of(read(chip, listing(linked))) == dict(linked.image.cells())


def has_witness(chip: str, layout: str, slip: str, index: int, new: str) -> bool:
    """Whether anything in a file contradicts the slip: a checksum, characters, a statement, or the rows around it."""
    _, rows = rows_of(chip, layout)
    if slip in ("letter", "missing", "doubled", "address_letter"):
        return True
    if layout in LISTINGS:
        lines = program(chip, "beacon")
        starts, sizes = [line.address for line in lines], [len(line.words) for line in lines]
    else:
        starts = [int("".join(sign for sign in row[:6] if sign in "0123456789abcdefABCDEF")[:4], 16) for row in rows]
        every = image(program(chip, "beacon"))
        sizes = [
            len([at for at in every if start <= at < start + DUMPS[layout].row and set(range(start, at)) <= every.keys()])
            for start in starts
        ]
    joined_behind = index + 1 < len(starts) and starts[index] + sizes[index] == starts[index + 1]
    joined_before = index > 0 and starts[index - 1] + sizes[index - 1] == starts[index]
    if slip == "misplaced":
        return joined_before or joined_behind
    if slip == "changed":  # bits that the chip ignores change nothing
        return not same_text(chip, rows[index], new, sizes[index]) if layout in LISTINGS else bool(DUMPS[layout].checksum)
    return layout in LISTINGS or joined_behind  # a word dropped


def same_text(chip: str, *rows: object) -> bool:
    """Whether the words of two rows are one instruction."""
    one, two, count = rows
    decoder = Decoder(load_target(chip))
    found = [decoder.decode([int(row[slice(*span)], 16) for span in spans(row, count)], 0) for row in (str(one), str(two))]
    return found[0] is not None and found[1] is not None and found[0].text == found[1].text


@pytest.mark.parametrize("chip", BYTES)
def test_slips_are_told(chip: str) -> None:
    """Every slip that anything in the file contradicts is told, nearly always with the line of the slip."""
    choice = random.Random(chip)
    silent, seeded, elsewhere = [], 0, 0
    for layout in (*LISTINGS, *DUMPS):
        head, rows = rows_of(chip, layout)
        usual = lines_told(chip, [*head, *rows])
        for name, slip in SLIPS.items():
            if layout == "close" and name not in ("misplaced", "address_letter"):
                continue
            for _ in range(EACH):
                index = choice.randrange(len(rows))
                count = len(program(chip, "beacon")[index].words) if layout in LISTINGS else DUMPS[layout].row
                new = slip(rows[index], words_in(rows[index], count, layout), choice)
                if new is None or new == rows[index] or not has_witness(chip, layout, name, index, new):
                    continue
                seeded += 1
                told = lines_told(chip, [*head, *rows[:index], new, *rows[index + 1 :]]) - (usual - {len(head) + index + 1})
                if not told:
                    silent.append(f"{layout}, {name}: {rows[index]} -> {new}")
                elsewhere += bool(told) and len(head) + index + 1 not in told
    assert seeded > 60
    assert silent == []
    assert elsewhere * 50 <= seeded


@pytest.mark.parametrize("chip", BYTES)
def test_rows_left_out_and_rows_out_of_order_are_told(chip: str) -> None:
    """A row that is missing between two others is told at the one behind it, or as too short a row at the one before; rows that
    changed places are told, too."""
    seeded = 0
    for layout in (*LISTINGS, *DUMPS):
        head, rows = rows_of(chip, layout)
        usual = lines_told(chip, [*head, *rows])
        for index in range(1, len(rows) - 1):
            addresses = [address_of(row) for row in rows[index - 1 : index + 2]]
            near = longest_row(chip, layout) >= addresses[2] - addresses[1] and joined(chip, addresses[0], addresses[2])
            if layout in LISTINGS and (addresses[2] % 8 == 0 or addresses[2] in load_target(chip).routes.starts.values()):
                continue  # parts of programs begin there
            if not near or (layout in DUMPS and addresses[1] - addresses[0] < DUMPS[layout].row):
                continue
            seeded += 1
            behind = len(head) + index + 1
            told = lines_told(chip, [*head, *rows[:index], *rows[index + 1 :]])
            assert told & {behind - 1, behind}, (layout, rows[index])
            told = lines_told(chip, [*head, *rows[:index], rows[index + 1], rows[index], *rows[index + 2 :]])
            assert told - usual, (layout, rows[index])
    assert seeded > 20


def address_of(row: str) -> int:
    return int("".join(sign for sign in row[:6] if sign in "0123456789abcdefABCDEF")[:4], 16)


def longest_row(chip: str, layout: str) -> int:
    return max(len(line.words) for line in program(chip, "beacon")) if layout in LISTINGS else DUMPS[layout].row


def joined(chip: str, first: int, last: int) -> bool:
    """Whether there are words at all addresses from one to another."""
    return set(range(first, last + 1)) <= image(program(chip, "beacon")).keys()


GAP = "0200: A2 03 CA D0\n0204: FD 4C 05 02\n{}"


def test_gaps_that_are_meant_are_no_slips() -> None:
    for text, code in (
        ("0208: EA EA EA EA\n", None),
        ("020C: EA EA EA EA\n", "typed_gap"),
        ("\n020C: EA EA EA EA\n", None),
        ("020E: EA EA EA EA\n0212: EA\n", None),
        ("0300: EA EA EA EA\n", None),
        ("FFFC: 00 02\n", None),
        ("01F0: EA EA EA EA\n", "typed_back"),
        ("\n01F0: EA EA EA EA\n", None),
        ("0204: FD 4C 05 02\n", None),
        ("0202: EA EA EA EA\n", "read_overlap"),
    ):
        assert codes_of(GAP.format(text)) == ([code] if code else []), text
    typed = read("6502", GAP.format("020C: EA EA EA EA\n"), lenient=True)
    assert [(one.code, one.hint) for one in typed.taken] == [("typed_gap", "taken as a gap")]
    assert [start for start, _ in typed.image.spans] == [0x200, 0x20C]


@pytest.mark.parametrize("chip", BYTES)
def test_a_source_is_told_at_once_and_a_listing_is_none(chip: str) -> None:
    for name in ("halt", "beacon"):
        with open(f"samples/{chip}/{name}.asm", encoding="utf-8") as file, pytest.raises(Fault) as raised:
            read(chip, file.read())
        assert raised.value.code == "typed_source"
    statements = [f"        {line.statement}" for line in program(chip, "beacon")]
    assert codes_on(chip, statements) == "typed_source"
    for layout in LISTINGS:
        head, rows = rows_of(chip, layout)
        assert codes_on(chip, [*head, *rows]) != "typed_source"


def codes_on(chip: str, lines: list[str]) -> str:
    """The message of a file that is refused at once, "" where it is not."""
    try:
        read(chip, "\n".join(lines), lenient=True)
    except Fault as fault:
        return fault.code
    return ""


def words_in(row: str, count: int, layout: str) -> list[tuple[int, int]]:
    """Where the words of a row stand, its checksum left out."""
    found = spans(row, 99)
    if layout in DUMPS and DUMPS[layout].checksum and layout != "a wide sum":
        found = found[:-1]
    return found[:count]


def lines_told(chip: str, lines: list[str]) -> set[int]:
    """The lines of all messages, warnings among them."""
    try:
        return {one.line for one in read(chip, "\n".join(lines)).taken}
    except SourceErrors as errors:
        return {one.line for one in errors.diagnostics}
    except Fault as fault:
        assert fault.place is not None
        return {fault.place[1]}


def test_a_slip_that_nothing_contradicts_is_not_seen() -> None:
    """The test of slips would notice a silent one."""
    assert lines_told("z80", ["0066: 00 45", "0100: C9"]) == set()
    assert has_witness("z80", "a sum", "changed", 0, "") and not has_witness("z80", "rows of eight", "changed", 0, "")


# ---- what is meant

SLIPPED = """\
0200 A2 O3     START  LDX #3
0202 CA        DOWN   DEX
0203 D0 F             BNE DOWN
0206 4C 05 02  HALT   JMP HALT
0208 A5 80            LDA $80
020A 85               STA $82
020C 6O               RTS
"""
MEANT = "A2 03 CA D0 FD 4C 05 02 A5 80 85 82 60"


def test_what_is_meant_is_taken_when_wanted() -> None:
    with pytest.raises(SourceErrors) as raised:
        read("6502", SLIPPED)
    hints = [one.hint for one in raised.value.diagnostics]
    assert hints == [f"perhaps {meant} is meant; --lenient takes that" for meant in ("03", "FD", "0205", "85 82", "60")]
    typed = read("6502", SLIPPED, lenient=True)
    assert typed.image.spans == [(0x200, bytes.fromhex(MEANT))]
    assert [one.severity for one in typed.taken] == ["warning"] * 5
    assert [one.hint for one in sorted(typed.taken, key=lambda one: one.line)] == [
        f"taken as {one}" for one in ("03", "FD", "0205", "85 82", "60")
    ]


def test_what_nobody_can_tell_is_not_taken() -> None:
    with pytest.raises(SourceErrors) as raised:
        read("6502", "0200: A2 033 CA\n0203: CA CA CA\n", lenient=True)
    (one,) = raised.value.diagnostics
    assert (one.line, one.column, one.hint) == (1, 10, None)


def test_a_statement_that_differs_is_shown_beside_the_words() -> None:
    with pytest.raises(SourceErrors) as raised:
        read("6502", "0200 A9 80   LDA #$81\n0202 8D 00 03   STA 300\n0205 60   RTS\n")
    (one,) = raised.value.diagnostics
    assert one.message == "A9 80 at 0x0200 is LDA #0x80; typed beside it: LDA #$81"


@pytest.mark.parametrize(
    "statement", ["LDA #128", "LDA #$80", "LDA #80", "LDA #VALUE", "LDA #80H", "LDA  #128   FIRST", "lda #0x80 ; first", "LDA #%10000000"]
)
def test_numbers_of_that_time(statement: str) -> None:
    """Numbers may be hexadecimal without a sign of it, names unknown."""
    typed = read("6502", f"0200 A9 80   START  {statement}\n0202 60          RTS\n")
    assert typed.told.code == [0x200, 0x202]
    assert typed.told.names == {("", 0x200): "START"}


def test_other_bases() -> None:
    octal = "000100 006 012 LAI 12\n000102 104 100 000 JMP 100\n"
    assert words_of(read("8008", octal, words="octal", places="octal")) == {0x40: 6, 0x41: 10, 0x42: 0o104, 0x43: 0x40, 0x44: 0}
    octal = "7600: 7300 MAIN  CLA CLL\n7601: 1030       TAD 30\n7602: 3410       DCA I 10\n7603: 5200       JMP MAIN\n"
    typed = read("im6100", octal, words="octal", places="octal")
    assert words_of(typed) == {0o7600: 0o7300, 0o7601: 0o1030, 0o7602: 0o3410, 0o7603: 0o5200}
    assert typed.told.names == {("", 0o7600): "MAIN"}
    decimal = "512: 162 3 202 208 253\n517: 76 5 2\n"
    typed = read("6502", decimal, words="decimal", places="decimal")
    assert typed.image.spans == [(0x200, bytes.fromhex("A2 03 CA D0 FD 4C 05 02"))]
    bare = "162, 3, 202, 208, 253,\n76, 5, 2\n"
    assert read("6502", bare, words="decimal", places="decimal", at=0x200).image.spans == typed.image.spans
    with pytest.raises(SourceErrors):
        read("6502", "512: 162 3 202 256 253\n517: 76 5 2\n", words="decimal", places="decimal")


def test_rows_without_addresses() -> None:
    text = "A2 03 CA D0 FD 4C 05 02\n01 02 03 04 05 06 07 08\n"
    assert read("6502", text, at=0x200).image.spans == [(0x200, bytes.fromhex(text.replace("\n", " ")))]
    close = "A203CAD0FD4C0502\n0102030405060708\n"
    assert read("6502", close, at=0x200).image.spans == [(0x200, bytes.fromhex(text.replace("\n", " ")))]
    with pytest.raises(Fault) as raised:
        read("6502", text)
    assert raised.value.code == "read_address"


def test_remarks_and_names_are_kept() -> None:
    text = """\
; FIRST LIGHT
        LAMP = $80
0200 A2 03     START  LDX #3      ; THREE TIMES
0202 86 80            STX LAMP
; IT STAYS
0204 4C 04 02  1STAY  JMP 1STAY
0207 48 49     TEXT   .BYTE 'HI'
"""
    told = read("6502", text).told
    assert told.names == {("", 0x200): "START", ("", 0x204): "n1STAY", ("", 0x207): "TEXT"}
    assert told.spare[("", 0x80)] == "LAMP"
    assert told.remarks.beside[0x200] == "THREE TIMES"
    assert told.remarks.above == {0x200: ["FIRST LIGHT", "LAMP = $80"], 0x204: ["IT STAYS"]}
    assert told.code == [0x200, 0x202]
    assert [(region.start, region.end, region.kind) for region in told.regions] == [(0x207, 0x209, "bytes")]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "typed_nothing"),
        ("hello\n", "typed_nothing"),
        ("0200: A2 03\n0201: 04 05\n", "read_overlap"),
        ("0200: A2 03\n0200: A2 04\n", "read_overlap"),
        ("0200: A2 03\n02 what is 33 this 44\n0202: 01 02\n", "typed_row"),
        ("0200: A2 " + "03 " * 5000, "line_too_long"),
        ("FFFF: A2 03\n", "read_beyond"),
        ("12345: A2 03\n12347: A2 03\n", "read_beyond"),
        ("\x00\x00\x00", "typed_nothing"),
    ],
)
def test_what_is_no_listing(text: str, code: str) -> None:
    assert code in codes_of(text)


def codes_of(text: str) -> list[str]:
    """The messages that a text meets, as a listing or when it is put into the chip's memory."""
    try:
        read("6502", text).image.image(load_target("6502"))
    except SourceErrors as errors:
        return [one.code for one in errors.diagnostics]
    except Fault as fault:
        return [fault.code]
    return []


@pytest.mark.parametrize("chip", BYTES)
def test_words_that_look_like_mnemonics(chip: str) -> None:
    """A dump of all kinds of words is no listing, whatever mnemonics look like hexadecimal digits."""
    target = load_target(chip)
    choice = random.Random(4)
    words = [choice.randrange(256) for _ in range(1024)]
    rows = [f"{at:04X} " + " ".join(f"{word:02X}" for word in words[at : at + 16]) for at in range(0, len(words), 16)]
    typed = read(chip, "\n".join(rows))
    assert (typed.image.spans, typed.taken, typed.told.code) == ([(0, bytes(words))], [], [])
    assert target.word == 8


def test_endless_lines() -> None:
    assert codes_of("\n" * MOST_LINES) == ["typed_lines"]


def test_the_same_twice_is_no_contradiction() -> None:
    assert read("6502", "0200: A2 03\n0200: A2 03\n").image.spans == [(0x200, b"\xa2\x03")]


@pytest.mark.parametrize("seed", range(60))
def test_noise(seed: int) -> None:
    """Anything is read or refused, and nothing else."""
    choice = random.Random(seed)
    pieces = [
        "0200",
        ":",
        "A2",
        "O3",
        " ",
        "\t",
        "LDX",
        "#3",
        ";",
        "'",
        '"',
        "EQU",
        "=",
        "|",
        ",",
        "-",
        "zz",
        "\x7f",
        "\u20ac",
        "DB",
        "(",
        "1",
        "FFFF",
    ]
    lines = ["".join(choice.choice(pieces) + choice.choice(("", " ")) for _ in range(choice.randrange(12))) for _ in range(30)]
    for lenient in (False, True):
        try:
            read("6502", "\n".join(lines), lenient, at=0)
        except (SourceErrors, Fault):
            continue


def test_dumps_are_of_many_kinds() -> None:
    assert len(DUMPS) >= 10 and len(LISTINGS) >= 4 and len(SLIPS) >= 7
    assert any(dump.checksum for dump in DUMPS.values()) and any(dump.characters for dump in DUMPS.values())
    assert Dump().row == 8


def test_a_wrong_sum_among_three_is_a_wrong_sum() -> None:
    rows = [(0x200, bytes.fromhex("A203CAD0FD4C0502")), (0x208, b"KESTREL "), (0x210, b"ROCK\0\0\0\0")]
    lines = [f"{at:04X} {words.hex(' ')} {sum(words) & 255:02X}\n".upper() for at, words in rows]
    lines[0] = lines[0].replace("CA", "CB")
    with pytest.raises(SourceErrors) as caught:
        read("6502", "".join(lines))
    assert [(one.line, one.code) for one in caught.value.diagnostics] == [(1, "typed_sum")]
