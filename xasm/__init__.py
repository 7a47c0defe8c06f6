"""xasm: a table-driven cross-assembler and chip bring-up tool.

For one program:

    import xasm
    image = xasm.assemble("        ORG 0x200\\nloop:   JMP loop\\n", target="6502")
    image.spans        # [(0x200, b"\\x4c\\x00\\x02")]
    image.symbols      # {"loop": 0x200}
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from xasm.building import assemble
    from xasm.linking.image import Image
    from xasm.source.diagnostics import Diagnostic, SourceErrors

__all__ = ["Diagnostic", "Image", "SourceErrors", "assemble"]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """Loads what is asked for, so that `import xasm` costs nothing."""
    if name == "assemble":
        from xasm.building import assemble

        return assemble
    if name in ("Diagnostic", "SourceErrors"):
        from xasm.source import diagnostics

        return getattr(diagnostics, name)
    if name == "Image":
        from xasm.linking.image import Image

        return Image
    raise AttributeError(f"module 'xasm' has no attribute '{name}'")
