"""The directive that says what a register of the chip holds, where instructions depend on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from xasm.assembly.parsing import counted, needed_target
from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Name, shown
from xasm.target.kinds import Page

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call


def assume(assembler: Assembler, call: Call) -> None:
    """From here on the named register is taken to hold a value: `ASSUME dp, 0x20`. The table says which names there are,
    and what is assumed at first."""
    name, value = counted(assembler, call, 2, 2, "a name and a number")
    target = needed_target(assembler)
    key = name.text.lower() if isinstance(name, Name) else ""
    if key not in target.assume:
        hint = f"it has: {', '.join(target.assume)}" if target.assume else None
        raise name.fault("no_assumption", hint, chip=target.name)
    number = assembler.known(value, call.statement.operation)
    last = min(kind.memory - 1 >> kind.bits for kind in target.kinds.values() if isinstance(kind, Page) and kind.origin == key)
    if not 0 <= number <= last:
        raise Fault("out_of_range", value.start, value.end, value=shown(number), range=f"0..{last}")
    assembler.assumed[key] = number
    assembler.forget()
