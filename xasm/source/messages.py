"""The catalogue of messages: every error and warning that a person can see, in one place.

A message says what is wrong in the reader's terms, with the range or the nearest legal form; the hint (where
there is one) says what to type instead. Values come from `Fault`; numbers that are values of the program
are given as text already.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

CATALOGUE: dict[str, str] = {
    # files
    "cannot_read": "cannot read '{path}': {why}",
    "cannot_write": "cannot write '{path}': {why}",
    "file_too_long": "the file is longer than {limit:,} bytes",
    "not_text": "byte 0x{byte:02X} is no UTF-8 text; is this a text file, and was it saved as UTF-8?",
    "control": "the character with code {value} does not belong in a source; is this a text file?",
    "include_missing": "cannot find '{path}'; looked in {looked}",
    "include_cycle": "'{path}' includes itself: {chain}",
    "include_deep": "more than {limit} INCLUDEs inside one another",
    # reading a line
    "not_understood": "'{found}' cannot stand here",
    "ends_early": "the line ends where {wanted} is expected",
    "label_not_name": "'{label}' cannot be a label; a name has A-Z, a-z, 0-9 and '_', and no digit in front",
    "open_text": "the text has no closing {quote}",
    "bad_escape": "unknown escape '{escape}' in text",
    "bad_number": "'{text}' is not a number: {why}",
    "too_deep": "the expression is nested deeper than {limit} levels",
    "line_too_long": "the line has {length:,} characters; the limit is {limit:,}",
    # values
    "number_too_big": "the value has more than {limit} bits",
    "divide_by_zero": "division by zero",
    "bad_shift": "cannot shift by {count}; a shift count is 0..{limit}",
    "value_missing": "a value is missing {where}",
    "no_value": "{what} has no value here",
    "text_not_value": "only a text of one character has a value; this one has {count}",
    "not_ascii": "'{character}' has no ASCII code; write its code as a number or as \\xNN",
    "undefined": "'{name}' is not defined",
    "circular": "'{name}' is defined by itself: {chain}",
    "out_of_range": "{value} does not fit; the range is {range}",
    "not_listed": "{value} is not possible here; it is one of {values}",
    "out_of_reach": "{target} is {distance} away; the branch reaches {range}, so it is {excess} too far",
    "off_page": "{target} is in page {page}; the instruction reaches page {own} ({first}..{last}), so it is {excess} too {side}",
    # statements
    "no_target": "no chip is named",
    "target_twice": "the chip is '{first}' already",
    "unknown_target": "there is no chip '{name}'",
    "unknown_operation": "'{word}' is no instruction of the {chip} and no directive",
    "no_form": "{operation} cannot be written like this",
    "no_operands_wanted": "{operation} takes nothing after it",
    "operand_count": "{directive} takes {wanted}; here it has {given}",
    "label_needed": "{directive} needs a name in front of it",
    "label_unwanted": "{directive} takes no label",
    "defined_twice": "'{name}' is defined already at {first}",
    "operator_word": "'{name}' is an operator of expressions; choose another name",
    "reserved_word": "'{name}' is a register or condition name of the {chip}; choose another name",
    "local_without_label": "'{name}' belongs to the label before it, and there is none",
    "not_yet_known": "{directive} needs a value that is known here; '{missing}' is not yet",
    "text_wanted": "{directive} needs a text in quotes, as in {example}",
    "not_negative": "{directive} needs 0 or more, not {value}",
    "bad_alignment": "ALIGN needs 1 or more, not {value}",
    "assertion": "ASSERT failed: {why}",
    "after_end": "this file is not read: END has ended the program before it",
    "start_unknown": "the start address is {value}, outside {range}",
    # placing
    "beyond_space": "address {address} is outside the {chip}'s address space {range}",
    "runs_over": "this statement ends at {last}, beyond the last address {top} of the {chip}",
    "overlap": "this fills {what}, but {first} has put something there already",
    "unstable": "the sizes never settle: an address depends on itself here",
    "too_large": "the output would have {size:,} bytes; the limit is {limit:,}",
    # output
    "unknown_suffix": "cannot tell the format of '{path}'; the suffixes are {suffixes}",
    "same_output": "'{path}' is named twice as an output",
    "output_is_input": "'{path}' is one of the sources; it is not overwritten",
    "not_to_terminal": "'{path}' would put bytes on the screen; name a file instead",
    "no_words": "there is nothing to write: the program has no bytes",
    "bad_c_name": "'{name}' is not a C name",
    "bad_storage": "'{word}' is not a storage word: letters, digits, '_', blanks, and parentheses with plain arguments",
    "bad_header": "'{header}' is not the name of a C header",
    "bad_fill": "the filler {value} does not fit a word of {bits} bits",
    "bad_record": "Intel HEX carries bytes; a word of this chip has {bits} bits",
    # tables
    "table_yaml": "this is not YAML: {why}",
    "table_long": "the table has {length:,} characters; the limit is {limit:,}",
    "table_empty": "the table is empty",
    "table_deep": "the table is nested deeper than {limit} levels",
    "table_alias": "YAML anchors, aliases and tags (&name, *name, !name) are not used in tables",
    "table_quote": "put {text} in quotes: YAML would read it as something else",
    "table_quotes": "'{key}' is always written in quotes",
    "table_no_value": "there is nothing behind the key",
    "table_digits": "a number with more than {limit} digits is not possible here",
    "table_shape": "{what} must be {wanted}",
    "table_number": "{key} is {value}; it must be {range}",
    "table_value": "'{value}' is not possible for '{key}'; it is one of {wanted}",
    "table_unknown_key": "unknown key '{key}'",
    "table_repeated_key": "'{key}' is given twice",
    "table_missing_key": "{what} lacks '{key}'",
    "table_cycle": "the table of '{name}' extends itself: {chain}",
    "table_strike": "no inherited row reads '{asm}', so there is nothing to strike",
    "table_stock": "kind '{kind}' begins with '{first}'; the first key of a kind is one of {stock}",
    "table_choice_same": "'{choice}' is given twice; capitals and small letters are the same here",
    "table_choice_wide": "'{choice}' stands for {value}, which does not fit {where}",
    "table_spelling": "'{choice}' cannot be an operand: {why}",
    "table_kind": "there is no kind '{kind}'",
    "table_asm": "cannot read this form: {why}",
    "table_no_field": "'{field}' stands in asm but is no field of the row",
    "table_code_word": "'{word}' is no word of {bits} bits; it is {digits} digits 0..F, or {bits} bits and field letters, or <field>",
    "table_hole_unknown": "'{field}' stands in code but is no field of the row",
    "table_hole_missing": "field '{field}' does not occur in {where}",
    "table_hole_twice": "field '{field}' stands twice in asm; only a choice may",
    "table_hole_width": "field '{field}' has another number of bits in code ({have}) than its kind ({want})",
    "table_flow_target": "flow '{flow}' needs a target: one field of a kind address, relative or page, or the key 'to'",
    "table_codes": "'{asm}' stands for more than {limit:,} codes",
    "table_overlap": "'{asm}' claims the code {code} that '{other}' ({line}) claims too",
    "table_same_form": "'{asm}' reads the same as '{other}' ({line}) and can never be chosen",
    "table_count": "the head counts {told} {what}, the rows have {found}",
}


def message(code: str, values: Mapping[str, Any]) -> str:
    """The text of catalogue entry `code`; raises KeyError for an unknown code or a missing value."""
    return CATALOGUE[code].format(**values)
