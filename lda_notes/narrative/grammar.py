"""The grammar of note templates: a closed list, checked before a template is compiled.

Templates choose words; they compute nothing, call nothing and reach no attribute. So a template of unknown origin can
neither read beyond the record's facts nor run without end, and a slip is reported with its row.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final, Literal

from jinja2 import nodes
from jinja2.compiler import CodeGenerator, Frame

from lda_notes.narrative.tags import Tags

FUNCTIONS: Final = ("each", "why", "reasons_left", "facts_left")
"""The only functions that a template may call; all but ``why`` may be looped over."""

PARTS: Final = "parts/"
"""Folder of the templates that others include; these include no further ones, so nothing includes itself."""

_ALLOWED: Final = (
    nodes.Template,
    nodes.Output,
    nodes.TemplateData,
    nodes.Const,
    nodes.Name,
    nodes.Getitem,
    nodes.Filter,
    nodes.Compare,
    nodes.Operand,
    nodes.And,
    nodes.Or,
    nodes.Not,
    nodes.Tuple,
    nodes.List,
    nodes.Dict,
    nodes.Pair,
    nodes.If,
    nodes.For,
    nodes.CondExpr,
    nodes.Assign,
    nodes.Include,
    nodes.CallBlock,
    nodes.Call,
    nodes.ExtensionAttribute,
    nodes.ContextReference,
)

_NAMES: Final = {
    nodes.Getattr: "reaches an attribute; name facts by subscript, such as event['needle']",
    nodes.Macro: "defines a macro",
    nodes.Extends: "extends another template",
    nodes.Block: "defines a block",
    nodes.Import: "imports another template",
    nodes.FromImport: "imports from another template",
    nodes.Concat: "joins text with ~; write the words side by side",
    nodes.Test: "asks whether something is defined; a sentence leaves itself out when a fact is missing",
    nodes.Slice: "cuts a piece out of a value",
    nodes.AssignBlock: "keeps a block of text under a name",
}

Level = Literal["paragraphs", "sentences", "series", "text"]
_OPENS: Final[dict[str, tuple[tuple[Level, ...], Level]]] = {
    "_paragraph": (("paragraphs",), "sentences"),
    "_sentence": (("sentences",), "text"),
    "_part": (("text", "series"), "text"),
    "_series": (("text",), "series"),
}
"""Where each tag may stand, and what it contains."""


class ClosedGrammar(CodeGenerator):
    """Refuses every template that leaves the closed grammar, naming the row; then compiles as usual."""

    def visit_Template(self, node: nodes.Template, frame: Frame | None = None) -> None:  # noqa: N802
        """Check the whole template, then compile it."""
        included = (self.name or "").startswith(PARTS)
        for part in node.find_all(nodes.Node):
            self._allow(part, included)
        self._layout(node.body, "sentences" if included else "paragraphs")
        super().visit_Template(node, frame)

    def _allow(self, node: nodes.Node, included: bool) -> None:
        if type(node) not in _ALLOWED:
            what = _NAMES.get(type(node), f"uses {type(node).__name__.lower()}, which computes something")
            self.fail(f"a note template may not do this: it {what}", node.lineno)
        match node:
            case nodes.Name() if node.name.startswith("_") or node.name == "loop":
                self.fail(f"there is nothing named {node.name} for a note template", node.lineno)
            case nodes.Getitem() if isinstance(node.node, nodes.Const) or _private(node.arg):
                self.fail("a note template takes subscripts of facts only", node.lineno)
            case nodes.Call() if not (isinstance(node.node, nodes.ExtensionAttribute) or _called(node) in FUNCTIONS):
                self.fail(f"a note template may call nothing but {', '.join(FUNCTIONS)}", node.lineno)
            case nodes.For() if _called(node.iter) not in FUNCTIONS or node.recursive or node.test:
                self.fail("a note template may loop over a list of the record only, by each(...)", node.lineno)
            case nodes.Include() if included or not _is_part(node.template):
                self.fail(f"a note template may include templates of {PARTS} only, and those none", node.lineno)

    def _layout(self, body: Iterable[nodes.Node], level: Level) -> None:
        """Hold the nesting: paragraphs hold sentences, sentences hold text, and no text stands outside a sentence."""
        for node in body:
            match node:
                case nodes.Output() if level != "text":
                    self._no_text(node)
                case nodes.If():
                    self._layout((*node.body, *node.elif_, *node.else_), level)
                case nodes.For():
                    self._layout((*node.body, *node.else_), level)
                case nodes.CallBlock():
                    self._tag(node, level)
                case nodes.Include() if level != "sentences":
                    self.fail("an included template stands inside a paragraph, outside any sentence", node.lineno)

    def _tag(self, node: nodes.CallBlock, level: Level) -> None:
        called: Any = node.call.node
        if not isinstance(called, nodes.ExtensionAttribute) or called.identifier != Tags.identifier:
            self.fail("a note template has no call blocks", node.lineno)
        name = called.name.removesuffix("_otherwise")
        where, holds = _OPENS[name]
        if level not in where:
            self.fail(f"the tag {name[1:]} may not stand here; it stands in {' or '.join(where)}", node.lineno)
        self._layout(node.body, holds)

    def _no_text(self, node: nodes.Output) -> None:
        for child in node.nodes:
            if not isinstance(child, nodes.TemplateData) or child.data.strip():
                self.fail("text stands outside a sentence, where it would be printed without a fact", child.lineno)


def _private(key: nodes.Expr) -> bool:
    return isinstance(key, nodes.Const) and str(key.value).startswith("_")


def _called(node: nodes.Node) -> str | None:
    return node.node.name if isinstance(node, nodes.Call) and isinstance(node.node, nodes.Name) else None


def _is_part(template: nodes.Expr) -> bool:
    return isinstance(template, nodes.Const) and str(template.value).startswith(PARTS)
