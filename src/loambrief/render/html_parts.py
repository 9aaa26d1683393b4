"""The blocks of the advisory as HTML: summary, findings, actions, sources, sign-off.

What is a wide table on paper is a list here where that reads better on a phone.
"""

from __future__ import annotations

import base64
from collections.abc import Callable

from loambrief.render.html_tree import Element, Tree, add, append
from loambrief.report.blocks import Text, plain, spans
from loambrief.report.parts import (
    ActionCard,
    CalculationList,
    EvidenceLine,
    FindingBlock,
    FirstAction,
    LimitLine,
    Photos,
    SignOff,
    SourceList,
    Summary,
)


def _summary(tree: Tree, parent: Element, block: Summary) -> Element:
    words, section = tree.words, add(parent, "section", class_="summary")
    if block.logo:
        data = base64.b64encode(block.logo.png).decode("ascii")
        add(section, "img", src=f"data:image/png;base64,{data}", alt=block.logo.alt,
            class_="logo", width=str(block.logo.width), height=str(block.logo.height))
    if plain(block.kicker):
        tree.paragraph(section, block.kicker, "kicker")
    tree.title(section, block.title, block.anchor)
    tree.facts(section, ((f.label, f.value or "–") for f in block.facts), "facts")
    tree.paragraph(section, block.message, "lead")
    tree.sub(section, words.limits)
    if block.limits:
        made = add(section, "ol")
        for limit in block.limits:
            _limit(tree, add(made, "li"), limit)
    elif plain(block.no_limits):
        tree.paragraph(section, block.no_limits)
    tree.sub(section, words.first_actions)
    if block.actions:
        made = add(section, "ol", class_="first")
        for action in block.actions:
            _first_action(tree, add(made, "li", value=str(action.rank)), action)
    elif plain(block.no_actions):
        tree.paragraph(section, block.no_actions)
    if plain(block.cost_line):
        tree.paragraph(section, block.cost_line, "cost")
    if block.avoid:
        tree.sub(section, words.avoid)
        tree.items(section, block.avoid)
    if block.contact:
        tree.sub(section, words.contact)
        tree.items(section, block.contact, look="plain").set("role", "list")
    if plain(block.valid_until):
        tree.sub(section, words.valid_until)
        tree.paragraph(section, block.valid_until)
    for note in block.notes:
        tree.paragraph(section, note, "note")
    return section


def _limit(tree: Tree, item: Element, limit: LimitLine) -> None:
    tree.inline(add(item, "b"), limit.text, limit.link)
    if plain(limit.detail):
        append(item, " ")
        tree.inline(item, limit.detail)


def _first_action(tree: Tree, item: Element, action: FirstAction) -> None:
    words = tree.words
    tree.inline(add(add(item, "p"), "b"), action.what, action.link)
    tree.facts(item, (
        (words.source, action.material), (words.rate, action.rate), (words.area, action.area),
        (words.total, action.total), (words.cost, action.cost), (words.when, action.when),
    ), "pairs")
    if plain(action.caution):
        _caution(tree, item, (action.caution,))


def _caution(tree: Tree, parent: Element, texts: tuple[Text, ...]) -> None:
    box = add(parent, "div", role="note", class_="callout caution")
    if len(texts) == 1:
        line = add(box, "p")
        add(line, "b", f"{tree.words.caution}: ")
        tree.inline(line, texts[0])
        return
    add(box, "p", tree.words.caution, class_="callout-title")
    tree.items(box, texts)


def _finding(tree: Tree, parent: Element, block: FindingBlock) -> Element:
    words, section = tree.words, add(parent, "section", class_="finding")
    tree.card_title(section, block.title, block.anchor)
    status = add(section, "p", class_="status")
    tree.inline(add(status, "span", class_=f"mark {block.mark.value}"), block.status)
    if plain(block.reading):
        append(status, " ")
        tree.inline(add(status, "b"), block.reading)
    if plain(block.reference):
        append(status, "; " if plain(block.reading) else " ")
        tree.inline(status, block.reference)
    grade = [(word, text) for word, text in ((words.evidence, block.grade),
                                             (words.confidence, block.confidence)) if plain(text)]
    if grade:
        line = add(section, "p", class_="note")
        for index, (word, text) in enumerate(grade):
            append(line, f"{' · ' if index else ''}{word}: ")
            tree.inline(line, text)
    for text in block.body:
        tree.paragraph(section, text)
    sides = add(section, "div", class_="sides") if block.support and block.against else section
    for word, lines in ((words.evidence_for, block.support),
                        (words.evidence_against, block.against)):
        _evidence(tree, sides, word, lines)
    _evidence(tree, section, words.evidence_context, block.context)
    return section


def _evidence(tree: Tree, parent: Element, word: str, lines: tuple[EvidenceLine, ...]) -> None:
    if not lines:
        return
    box = add(parent, "div")
    add(box, "p", word, class_="group")
    made = add(box, "ul")
    for line in lines:
        item = tree.inline(add(made, "li"), line.text)
        if plain(line.grade):
            append(item, " ")
            add(item, "i", f"({plain(line.grade)})", class_="muted")
        if plain(line.sources):
            append(item, " ")
            tree.inline(item, line.sources)


def _action(tree: Tree, parent: Element, block: ActionCard) -> Element:
    words, section = tree.words, add(parent, "section", class_="action")
    tree.card_title(section, (f"{block.rank}. ", *spans(block.title)), block.anchor)
    if plain(block.tag):
        tree.paragraph(section, block.tag, "note")
    if block.cautions:
        _caution(tree, section, block.cautions)
    tree.facts(section, (
        (words.source, block.source), (words.rate, block.rate), (words.range, block.range),
        (words.total, block.total), (words.when, block.time), (words.where, block.place),
        (words.cost, block.cost), (words.depends, block.depends),
    ), "pairs")
    for word, texts, start in ((words.why, block.why, None), (words.how, block.how, 1)):
        if texts:
            add(section, "p", word, class_="group")
            tree.items(section, texts, start=start)
    for note in block.notes:
        tree.paragraph(section, note, "note")
    return section


def _calculations(tree: Tree, parent: Element, block: CalculationList) -> Element:
    """Under each formula its calculations: what, the answer, and from which inputs."""
    section = add(parent, "div", class_="calculations")
    group: Text = ""
    made: Element | None = None
    for number, item in enumerate(block.items, start=1):
        if made is None or (item.group and item.group != group):
            if plain(item.group):
                tree.paragraph(section, item.group, "group")
            made = add(section, "ul", class_="plain", role="list")
        group = item.group
        entry = add(made, "li")
        tree.place(entry, item.anchor)
        add(entry, "span", f"{item.number or number}", class_="muted")
        append(entry, " ")
        tree.inline(entry, item.name)
        append(entry, ": ")
        tree.inline(add(entry, "b"), item.answer)
        for text in (item.outside, item.note):
            if plain(text):
                append(entry, "; ")
                tree.inline(entry, text)
        if item.inputs:
            append(entry, "\n")
            line = add(entry, "small", f"{tree.words.inputs}: ")
            for index, fact in enumerate(item.inputs):
                append(line, f"{'; ' if index else ''}{plain(fact.label)}\u00a0")
                tree.inline(line, fact.value)
    return section


def _sources(tree: Tree, parent: Element, block: SourceList) -> Element:
    made = add(parent, "ul", class_="plain sources", role="list")
    for item in block.items:
        entry = add(made, "li")
        tree.place(entry, item.anchor)
        add(entry, "span", item.label, class_="muted")
        append(entry, " ")
        tree.inline(entry, item.citation)
        if plain(item.note):
            append(entry, " ")
            tree.inline(add(entry, "i", class_="muted"), item.note)
        if item.url:
            append(entry, " ")
            tree.inline(entry, item.url, item.url)
    return made


def _sign_off(tree: Tree, parent: Element, block: SignOff) -> Element:
    words, section = tree.words, add(parent, "section")
    tree.card_title(section, words.adviser, block.anchor)
    tree.facts(section, ((f.label, f.value or "–") for f in block.adviser), "facts")
    interest = add(section, "p")
    add(interest, "b", f"{words.interest}: ")
    tree.inline(interest, block.interest)
    tree.paragraph(section, block.statement)
    if plain(block.signed):
        tree.inline(add(add(section, "p"), "b"), block.signed)
    else:
        _lines(tree, section, block.adviser_name)
    tree.card_title(section, words.acknowledgement, "")
    tree.paragraph(section, block.acknowledgement)
    _lines(tree, section, block.grower_name)
    return section


def _lines(tree: Tree, parent: Element, name: str) -> None:
    """Places to sign on a print, with what goes on each below it."""
    words, made = tree.words, add(parent, "p", class_="sign")
    for text in (words.signature, f"{words.name}: {name}" if name else words.name, words.date):
        add(made, "span", text)


def _photos(tree: Tree, parent: Element, block: Photos) -> Element:
    row = add(parent, "div", class_="figures")
    for photo in block.photos:
        figure = add(row, "figure")
        data = base64.b64encode(photo.jpeg).decode("ascii")
        add(figure, "img", src=f"data:image/jpeg;base64,{data}", alt=photo.alt,
            width=str(photo.width), height=str(photo.height))
        tree.inline(add(figure, "figcaption"), photo.caption)
    return row


PARTS: dict[type, Callable[..., Element]] = {
    Summary: _summary,
    ActionCard: _action,
    FindingBlock: _finding,
    CalculationList: _calculations,
    SourceList: _sources,
    Photos: _photos,
    SignOff: _sign_off,
}
"""Which function shows which part."""
