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
    "no_bits": "the {chip} has no bit addresses",
    "bad_bit": "'{part}' is no bit of a byte; those are .0 to .7",
    "byte_without_bits": "byte {byte} of the {chip} has no bit addresses; these have: {areas}",
    "not_in_list": "this cannot stand in the list; it is made of {names}",
    "list_twice": "'{name}' is in the list already",
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
    # what is read: conditions, macros, repeats
    "if_open": "this IF has no ENDIF",
    "no_if": "{directive} has no IF before it",
    "behind_else": "{directive} cannot stand behind ELSE; only ENDIF can",
    "block_open": "this {directive} has no end; {closing} closes it",
    "no_block": "ENDM has no MACRO or REPT before it",
    "local_outside": "LOCAL stands only inside a macro",
    "nothing_to_leave": "LEAVE stands only inside a macro or REPT",
    "name_wanted": "{directive} needs a name, not '{text}'",
    "bad_parameter": "'{text}' is not a parameter: a name, name=default, or name... for all that is left",
    "parameter_twice": "the parameter '{name}' is named twice",
    "rest_not_last": "'{name}...' takes all arguments that are left; it must be the last parameter",
    "open_brace": "the brace has no closing brace",
    "macro_is_directive": "'{name}' is a directive; choose another name for the macro",
    "macro_is_instruction": "'{name}' is an instruction of the {chip}; choose another name for the macro",
    "too_many_arguments": "macro {name} takes {wanted}; this is one too many",
    "argument_twice": "the parameter '{name}' is given twice",
    "too_many_lines": "macros and repeats bring in more than {limit:,} lines; --most-lines sets this limit",
    "too_deep_inside": "macros, repeats and includes are inside one another more than {limit} deep; --deepest sets this limit",
    "too_many_files": "more than {limit:,} files are included or embedded; --most-files sets this limit",
    # sections, pages, data
    "no_space": "the {chip} has no address space '{space}'; it has {known}",
    "section_space": "section '{name}' lies in space '{space}' already",
    "not_loaded": "space '{space}' is not part of the program's image: only DS can stand here",
    "nobody_defines": "'{name}' is EXTERN, and no file defines it",
    "bad_page": "a page has 1 word or more, not {value}",
    "word_wanted": "only {word} can stand here, as in {example}",
    "no_fit": "ENDFIT has no FIT before it",
    "fit_open": "{directive} cannot stand between FIT and ENDFIT",
    "fit_too_long": "the block has {size} words and cannot lie in one page of {page}",
    "fit_crosses": "the block {first}..{last} crosses the page border at {border}; {over} of its words lie behind it",
    "bad_unit": "a unit has a number of bits that divides the word's {word}, not {value}",
    "repeated_value": "OF repeats a value in data only",
    "too_many_values": "{count:,} values are more than the {limit:,} that there is room for",
    "not_in_alphabet": "'{character}' has no code in the alphabet in force",
    "alphabet_count": "{count} characters need one code to count from or {count} codes, not {given}",
    "embed_short": "'{path}' has {length:,} bytes; {wanted:,} are asked for",
    "embed_wide": "'{path}' has bytes that do not fit a word of {bits} bits",
    # placing
    "beyond_space": "address {address} is outside the {chip}'s address space {range}",
    "runs_over": "this statement ends at {last}, beyond the last address {top} of the {chip}",
    "overlap": "this fills {what}, but {first} has put something there already",
    "unstable": "the sizes never settle: an address depends on itself here",
    "too_many_words": "the program makes more than {limit:,} words, many more than the {chip} has room for",
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
    "table_directive_name": "'{name}' cannot be a directive of the maker's: capitals and digits, a point in front if need be",
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
    "table_space": "there are no names of a group '{space}'",
    "table_symbol": "'{name}' is a word of the forms, or an operator, and cannot be a name as well",
    "table_list_last": "the list '{field}' must be the last operand of asm",
    "table_mode_field": "'{field}' is a field of the row and of the mode '{mode}' of kind '{kind}'",
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


LONGEST_VALUE = 400  # characters of a text in a message; of a longer one begin and end are shown


def message(code: str, values: Mapping[str, Any]) -> str:
    """The text of catalogue entry `code`; raises KeyError for an unknown code or a missing value."""
    return CATALOGUE[code].format(**{key: shortened(value) if isinstance(value, str) else value for key, value in values.items()})


def shortened(text: str) -> str:
    return text if len(text) <= LONGEST_VALUE else f"{text[: LONGEST_VALUE - 60]} ... {text[-40:]}"
