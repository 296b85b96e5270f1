"""A box to tick whose state is a sign, not only a colour."""

from textual.content import Content
from textual.widgets import Checkbox


class Tick(Checkbox):
    """``[x]`` or ``[ ]``, then words."""

    DEFAULT_CSS = """
    Tick { &, &:focus { background: transparent; border: none; } &:focus { text-style: underline; } }
    """

    def render(self) -> Content:
        box = ("[x] ", "bold $accent") if self.value else ("[ ] ", "bold $secondary")
        return Content.assemble(box, (self.label.plain, "$foreground"))
