"""XHTML narratives: well formed, and only what R4 allows in them (invariants txt-1 and txt-2)."""

from __future__ import annotations

import re
from html.entities import name2codepoint
from typing import Final
from xml.parsers import expat

_NAMESPACE: Final = "http://www.w3.org/1999/xhtml"
_SPLIT: Final = " "
# HTML 4.0 chapters 7 to 11 (but not 9.4) and 15, and what txt-1 adds to them: anchors and images.
_ELEMENTS: Final = re.compile(
    r"a|abbr|acronym|address|b|bdo|big|blockquote|br|caption|cite|code|col|colgroup|dd|dfn|div|dl|dt|"
    r"em|h1|h2|h3|h4|h5|h6|hr|i|img|kbd|li|ol|p|pre|q|s|samp|small|span|strike|strong|sub|sup|table|"
    r"tbody|td|tfoot|th|thead|tr|tt|u|ul|var"
)
_ATTRIBUTES: Final = re.compile(
    r"abbr|accesskey|align|alt|axis|bgcolor|border|cellpadding|cellspacing|char|charoff|charset|cite|"
    r"class|clear|color|colspan|compact|coords|dir|face|frame|headers|height|href|hreflang|hspace|id|"
    r"lang|name|noshade|nowrap|rel|rev|rowspan|rules|scope|shape|size|span|src|start|style|summary|"
    r"tabindex|title|type|valign|value|vspace|width|space"
)
_XML_ENTITIES: Final = frozenset({"amp", "lt", "gt", "quot", "apos"})
_ENTITY: Final = re.compile(r"&([A-Za-z][A-Za-z0-9]*);")
_ADDRESS: Final = re.compile(r"\s*(javascript|vbscript|data:text)", re.IGNORECASE)


def _named(entity: re.Match[str]) -> str:
    name = entity[1]
    if name in _XML_ENTITIES or name not in name2codepoint:
        return entity[0]
    return f"&#{name2codepoint[name]};"


class _Refused(Exception):
    """A fault of the narrative, as one phrase."""


class _Reader:
    """Handlers that refuse what a narrative may not contain."""

    def __init__(self) -> None:
        self.has_content = False
        self.depth = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        namespace, _, element = name.rpartition(_SPLIT)
        if namespace != _NAMESPACE:
            raise _Refused(f"element {element} outside the namespace {_NAMESPACE}")
        if self.depth == 0 and element != "div":
            raise _Refused(f"starts with {element}, not with div")
        if not _ELEMENTS.fullmatch(element):
            raise _Refused(f"element {element}")
        for attribute, value in attributes.items():
            bare = attribute.rpartition(_SPLIT)[2]
            if not _ATTRIBUTES.fullmatch(bare):
                raise _Refused(f"attribute {bare} of {element}")
            if bare in ("href", "src") and _ADDRESS.match(value):
                raise _Refused(f"an address that runs code in {element}")
        self.depth += 1
        self.has_content = self.has_content or element == "img"

    def end(self, _name: str) -> None:
        self.depth -= 1

    def text(self, text: str) -> None:
        self.has_content = self.has_content or bool(text.strip())

    def refuse(self, *_: object) -> None:
        raise _Refused("a document type or processing instruction")


def narrative_fault(div: str) -> tuple[str, str] | None:
    """Return the rule that an XHTML ``div`` breaks and what is wrong with it; None when it is fine.

    Rules are ``xhtml`` (not well formed), ``txt-1`` (not allowed) and ``txt-2`` (nothing in it).
    """
    reader = _Reader()
    parser = expat.ParserCreate(namespace_separator=_SPLIT)
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.text
    parser.StartDoctypeDeclHandler = reader.refuse
    parser.ProcessingInstructionHandler = reader.refuse
    try:
        parser.Parse(_ENTITY.sub(_named, div).encode("utf-8", "surrogatepass"), True)
    except _Refused as refused:
        return "txt-1", str(refused)
    except expat.ExpatError as error:
        return "xhtml", f"{expat.ErrorString(error.code)} at row {error.lineno}, column {error.offset + 1}"
    return None if reader.has_content else ("txt-2", "no content")
