"""The texts of the page lie in one file, so that a translation is another file."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from jinja2 import nodes

import straycell.web
from straycell.web.view import templates
from straycell.web.words import words

WEB = Path(straycell.web.__file__).parent
TEMPLATES = sorted(path.name for path in (WEB / "templates").glob("*.html"))
SIGNS = re.compile(r"[^\W\d_]{2,}")
UNITS = {"Wh", "px"}


class _Texts(HTMLParser):
    """What a person reads of a page: texts, and the attributes that are read out."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_data(self, data: str) -> None:
        self.found.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [
            value or "" for name, value in attrs if name in ("alt", "title", "aria-label", "placeholder")
        ]


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_template_has_no_words_of_its_own(name: str) -> None:
    """What is left of it without its places and its tags is signs and units."""
    text = (WEB / "templates" / name).read_text(encoding="utf-8")
    parser = _Texts()
    # What a page carries for the script is between the tags of a block, and is no text.
    text = re.sub(r"\{% block marks %\}.*?\{% endblock %\}", "", text)
    parser.feed(re.sub(r"\{\{.*?\}\}|\{%.*?%\}", "", text))
    found = {word for each in parser.found for word in SIGNS.findall(each)} - UNITS
    assert not found


def spoken(tree: ast.AST) -> Iterator[str]:
    """The strings of a module that read as a text: words with a blank between them, outside what no person reads."""
    for node in ast.iter_child_nodes(tree):
        match node:
            # Docstrings; what the door writes into headers, and lists of field names; what programs read; the terminal's line.
            case ast.Expr(value=ast.Constant()):
                continue
            case ast.Assign(targets=[ast.Name(id="POLICY" | "HEADERS" | "FORMS")]):
                continue
            case ast.Call(func=ast.Name(id="FastAPI" | "print" | "Query" | "Header" | "Field" | "Path")):
                continue
            # A fault's own words, with the file's name taken out of them.
            case ast.Call(func=ast.Attribute(attr="replace")):
                continue
            case ast.Constant(value=str() as text) if re.search(r"[^\W\d_]{2,} | [^\W\d_]{2,}", text):
                yield text
        yield from spoken(node)


@pytest.mark.parametrize("path", sorted(WEB.rglob("*.py")), ids=lambda path: path.name)
def test_a_module_has_no_words_of_its_own(path: Path) -> None:
    """What a page says is in the catalogue; what programs read of `/api/v1` is its description."""
    texts = [text for text in spoken(ast.parse(path.read_text(encoding="utf-8"))) if "filename=" not in text]
    assert not texts


def test_a_script_has_no_words_of_its_own() -> None:
    """It reads them off the page. What looks like words with a blank between them is code, and is in capitals or a sign."""
    for path in sorted((WEB / "static").glob("*.js")):
        code = re.sub(r"/\*.*?\*/|//[^\n]*", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
        texts = re.findall(r"""["'`]([^"'`\n]*)["'`]""", code)
        assert not [
            t for t in texts if re.fullmatch(r"[A-Za-z]{3,}(?: [A-Za-z]{2,})+[.:]?", t) and t != "use strict"
        ]


def asked(tree: nodes.Node) -> Iterator[tuple[str, ...]]:
    """The texts that a template asks for, as (section, name) or, where the name is made, (section,)."""
    for node in tree.find_all((nodes.Getattr, nodes.Getitem)):
        chain: list[str] = []
        step: Any = node
        while isinstance(step, nodes.Getattr | nodes.Getitem):
            if isinstance(step, nodes.Getattr):
                chain.append(step.attr)
            elif isinstance(step.arg, nodes.Const):
                chain.append(str(step.arg.value))
            else:
                chain.append("")
            step = step.node
        if isinstance(step, nodes.Name) and step.name == "w":
            yield tuple(reversed(chain))


def test_every_text_that_is_asked_for_is_there_and_none_is_left_over() -> None:
    """An unused text would be translated for nothing, a missing one is a broken page."""
    environment, used = templates(), set[tuple[str, ...]]()
    for name in TEMPLATES:
        used |= set(asked(environment.parse((WEB / "templates" / name).read_text(encoding="utf-8"))))
    code = "\n".join(path.read_text(encoding="utf-8") for path in sorted(WEB.rglob("*.py")))
    for section, name in re.findall(r"words\(\)\[\W(\w+)\W\]\[[\"']([\w-]+)[\"']\]", code):
        used.add((section, name))
    for section, name in re.findall(r"(refusal|note|said)\(\s*[\"']([\w-]+)[\"']", code):
        used.add(("note" if section == "said" else section, name))
    whole = {each[0] for each in used if len(each) == 1 or "" in each}
    whole |= set(re.findall(r"words\(\)\[\W(\w+)\W\](?!\[[\"'])", code))
    for each in used:
        found: Any = words()
        for part in each:
            if not part or part in ("get", "items"):
                break
            assert part in found, each
            found = found[part]
    there = {(section, name) for section, texts in words().items() for name in texts}
    assert not {each for each in there if each not in used and each[0] not in whole}


def test_each_look_incident_and_form_has_its_words() -> None:
    """Names that are made from a table are all in the catalogue."""
    from dataclasses import fields

    from straycell.bench.recording.finish import OF_DEVICE, Device
    from straycell.cells import Look
    from straycell.web.entry import FORMS
    from straycell.web.routes.pictures import OF_A_CELL, OF_STOCK

    assert set(words()["look"]) == {look.value for look in Look}
    assert set(FORMS) <= set(words()["records"])
    assert {*OF_STOCK, *OF_A_CELL} <= set(words()["pictures"]) and [each.name for each in OF_DEVICE] == list(
        words()["device_now"]
    )
    # What the command takes of the device, the page takes, too.
    assert [each.name for each in OF_DEVICE] == [field.name for field in fields(Device)]
