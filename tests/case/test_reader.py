"""YAML to data with places, and every kind of hostile file."""

import os
import re
import time
from pathlib import Path

import pytest

from loambrief.case import reader
from loambrief.case.load import load_bytes, load_case
from loambrief.case.reader import MAX_BYTES, MAX_DEPTH, decode, read_bytes, read_text
from loambrief.case.source import Mark
from loambrief.errors import CaseProblems


def read(text):
    raw = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    return read_text(decode(raw, "c.yaml"), "c.yaml")


def refused(text):
    with pytest.raises(CaseProblems) as caught:
        read(text)
    return caught.value.problems


def test_places_of_keys_and_values():
    """ensures that every key and value keeps its line and column, counted from 1."""
    source, problems = read("a: 1\nb:\n  - x: two\n    y: [3, 4]\n")
    assert problems == []
    assert source.data == {"a": 1, "b": [{"x": "two", "y": [3, 4]}]}
    assert source.keys["b", 0, "y"] == Mark(4, 5)
    assert source.values["b", 0, "y", 1] == Mark(4, 12)
    assert source.mark(("b", 0, "missing")) == Mark(3, 5)
    assert source.label(("b", 0, "y", 1)) == "b[1].y[2]"


def test_labels_use_the_entries_own_names():
    """ensures that list entries are named by id or depth, and by number where not unique."""
    source, _ = read("s: [{id: N, i: [{depth: 0-2 in}, {depth: 0-6 in}]}, {id: 7}]\n"
                     "d: [{id: a}, {id: a}]\n")
    assert source.label(("s", 0, "i", 1, "ph")) == "s[N].i[0-6 in].ph"
    assert source.label(("s", 1)) == "s[7]"
    assert source.label(("d", 1, "id")) == "d[2].id"


@pytest.mark.parametrize("raw", [
    b"\xef\xbb\xbfa: 1\nb: \xc3\xa9\n", b"a: 1\r\nb: \xc3\xa9\r\n", b"a: 1\rb: \xc3\xa9",
    b"---\na: 1\nb: \xc3\xa9\n...\n", b"%YAML 1.2\n---\na: 1\nb: \xc3\xa9",
])
def test_harmless_variants(raw):
    """ensures that byte-order mark, line ends and one document mark change nothing."""
    source, problems = read(raw)
    assert problems == []
    assert source.data == {"a": 1, "b": "é"}


def test_aliases_are_expanded():
    """ensures that an alias repeats its value and has its own place."""
    source, problems = read("a: &x {k: 1}\nb: *x\n")
    assert problems == []
    assert source.data == {"a": {"k": 1}, "b": {"k": 1}}
    assert source.mark(("b", "k")) == Mark(2, 1)


@pytest.mark.parametrize(
    ("text", "place", "code"),
    [
        ("a: 1\na: 2", (2, 1), "CASE010"),
        ("a: {b: 1, c: 2, b: 3}", (1, 17), "CASE010"),
        ("a: &x {b: 1}\nc: {<<: *x}", (2, 5), "CASE011"),
        ("a: !!python/object/apply:os.system [ls]", (1, 4), "CASE009"),
        ("a: !!str 5", (1, 4), "CASE009"),
        ("a: ! 5", (1, 4), "CASE009"),
        ("a: 1e400", (1, 4), "CASE014"),
        ("a: [1, .nan]", (1, 8), "CASE014"),
        ('a: "\\0"', (1, 4), "CASE004"),
        ('a: "\\ud800"', (1, 4), "CASE004"),
        ('"a\\x1b": 1', (1, 1), "CASE013"),
        ("? [1, 2]\n: 3", (1, 3), "CASE013"),
        ("&k a: 1", (1, 1), "CASE013"),
    ],
)
def test_refused_but_readable(text, place, code):
    """ensures that such a value is reported and left out while the rest is read."""
    source, (problem,) = read(text + "\nz: kept")
    assert (problem.line, problem.column) == place
    assert problem.code == code
    assert source.data["z"] == "kept"
    assert source.data.get("a") != 2


@pytest.mark.parametrize(
    ("text", "place", "code"),
    [
        ("a: 1\n---\nb: 2", (2, 1), "CASE006"),
        ("a: [1, 2\nb: 3", (2, 2), "CASE005"),
        ("a: 'x\nb: 3", (1, 4), "CASE005"),
        ("a:\n\tb: 1", (2, 1), "CASE005"),
        ("a: b: c", (1, 5), "CASE005"),
        ("a: @x", (1, 4), "CASE005"),
        ("a: 1\nfoo\nb: 2", (2, 1), "CASE005"),
        ("a: 1\n  b: 2", (2, 4), "CASE005"),
        ('a: "\\q"', (1, 6), "CASE005"),
        ('a: "\\UFFFFFFFF"', (1, 1), "CASE005"),
        ("%YAML " + "9" * 5000 + ".1\n---\na: 1", (1, 1), "CASE005"),
        ("a: !x!y 1", (1, 4), "CASE005"),
        ("a: *b", (1, 4), "CASE012"),
        ("a: &a [*a]", (1, 8), "CASE012"),
        ("a: &x 1\nb: &x 2", (2, 4), "CASE012"),
        ("", (1, 1), "CASE015"),
        ("# nothing", (1, 1), "CASE015"),
        ("- a\n- b", (1, 1), "CASE015"),
        ("just text", (1, 1), "CASE015"),
        ("a: 1\nb\x00: 2", (2, 2), "CASE004"),
        ("a: x\u202ey", (1, 5), "CASE004"),
        ("a: 1\u2028b: 2", (1, 5), "CASE004"),
        ("\x7fa: 1", (1, 1), "CASE004"),
        (b"a: 1\nb: caf\xe9 noir", (2, 7), "CASE003"),
        (b"\xef\xbb\xbfa: caf\xe9", (1, 7), "CASE003"),
        (b"\xff\xfea\x00", (0, 0), "CASE003"),
        ("[" * 1000, (1, MAX_DEPTH + 1), "CASE007"),
        ("{a: " * 1000, (1, 4 * MAX_DEPTH + 1), "CASE007"),
        ("\n".join(" " * i + "a:" for i in range(60)), (MAX_DEPTH + 1, MAX_DEPTH + 1), "CASE007"),
    ],
)
def test_unreadable(text, place, code):
    """ensures that what cannot be read is reported once, where it is."""
    (problem,) = refused(text)
    assert (problem.line, problem.column, problem.code) == (*place, code)


BOMB = "a0: &a0 [x,x,x,x,x,x,x,x,x,x]\n" + "".join(
    f"a{i}: &a{i} [{','.join([f'*a{i - 1}'] * 10)}]\n" for i in range(1, 30)
)
CHAIN = "a0: &a0 [1]\n" + "".join(f"a{i}: &a{i} [*a{i - 1}]\n" for i in range(1, 60))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (BOMB, "CASE008"),
        (CHAIN, "CASE007"),
        ("a: &a " + "[" * 10 + "1" + "]" * 10 + "\nb: " + "[" * 20 + "*a", "CASE007"),
        ("a: [" + "1," * 400_000 + "1]", "CASE008"),
        ("a: 1\n" * 200_000, "CASE019"),
        ("[\n" * 500_000, "CASE007"),
        ("? " * 500_000, "CASE007"),
        ("- " * 500_000, "CASE007"),
        ('a: "' + "\\x41 " * 200_000, "CASE005"),
        ("!a " * 300_000, "CASE005"),
        ("a: !t x\n" + "".join(f"k{i}: !t x\n" for i in range(5000)), "CASE019"),
        ("x" * 1_000_000, "CASE015"),
        ("#\n" * 500_000, "CASE015"),
    ],
    ids=["bomb", "chain", "deep alias", "long list", "repeats", "open", "keys", "dashes",
         "escapes", "tags", "many tags", "one word", "comments"],
)
def test_hostile_files_cost_little(text, code):
    """ensures that files made to explode are refused in bounded time."""
    started = time.process_time()
    found = refused(text)
    assert time.process_time() - started < 20  # 2 s at most where this was written
    assert code in {p.code for p in found}
    assert len(found) <= 101


def test_large_file_is_refused_before_reading(tmp_path, monkeypatch):
    """ensures that a 50 MB file is refused by its size, without being read."""
    path = tmp_path / "big.yaml"
    with path.open("wb") as stream:
        stream.truncate(50 * 1024 * 1024)
    monkeypatch.setattr(reader.os, "fdopen", lambda *a: pytest.fail("was read"))
    with pytest.raises(CaseProblems) as caught:
        load_case(path)
    assert str(caught.value) == (
        f"{path}: CASE002 file: found a file of 52,428,800 bytes or more, wanted at most "
        "1,048,576 bytes\n       = help: A case is a few pages of text; is this the right file?"
    )


def test_growing_file_is_cut_off(tmp_path, monkeypatch):
    """ensures that a file larger than its stated size is not read beyond the limit."""
    path = tmp_path / "grows.yaml"
    path.write_bytes(b"a" * (MAX_BYTES + 1))
    true_stat = os.fstat
    monkeypatch.setattr(reader.os, "fstat", lambda fd: os.stat_result(
        [*true_stat(fd)[:6], 10, *true_stat(fd)[7:10]]))
    with pytest.raises(CaseProblems, match="CASE002"):
        read_bytes(path)


def test_not_a_regular_file(tmp_path):
    """ensures that folders, links to folders, pipes and devices are refused at once."""
    link, pipe = tmp_path / "link.yaml", tmp_path / "pipe.yaml"
    link.symlink_to(tmp_path, target_is_directory=True)
    os.mkfifo(pipe)
    for path, kind in ((tmp_path, "a folder"), (link, "a folder"),
                       (pipe, "a pipe, socket or device"),
                       ("/dev/null", "a pipe, socket or device")):
        with pytest.raises(CaseProblems) as caught:
            load_case(path)
        assert str(caught.value).startswith(f"{path}: CASE001 file: found {kind}, wanted")


def test_absent_file_is_the_systems_error(tmp_path):
    """ensures that a missing file or a broken link is an OSError that names the file."""
    loop = tmp_path / "loop.yaml"
    loop.symlink_to(loop)
    for path in (tmp_path / "none.yaml", loop):
        with pytest.raises(OSError) as caught:
            load_case(path)
        assert str(caught.value.filename) == str(path)


def test_link_to_a_file_is_followed(tmp_path):
    """ensures that a link to a case works like the case."""
    target, link = tmp_path / "a.yaml", tmp_path / "b.yaml"
    target.write_text("a: [")
    link.symlink_to(target)
    with pytest.raises(CaseProblems, match=r"b\.yaml:1:5: CASE005"):
        load_case(link)


CASES = sorted(Path(__file__).parents[1].glob("scenarios/*/case.yaml"))[::4]


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.parent.name)
def test_both_parsers_say_the_same(path, monkeypatch):
    """ensures that the quick parser gives the data, the places and the problems of the exact one,
    and leaves what it refuses to it: each case whole, cut short, and with signs that break it."""
    text = path.read_text(encoding="utf-8")
    broken = [text, text.replace("{", "", 1), text.replace(": ", ":\u00a0", 5),
              text.replace("\n", "\r\n"), text.replace("a", "\U0001f331"),
              *(text[:len(text) * part // 7] for part in range(1, 7)),
              *(part[:half] + sign + part[half:]
                for part in [max(re.split(r"\n(?=\w)", text), key=len)]
                for half in [len(part) // 2] for sign in "-:#[]{}&*|>'\"%@`,\\")]

    def outcome(one):
        try:
            source, problems = read(one)
        except CaseProblems as error:
            return error.problems
        return source.data, source.keys, source.values, source.refused, problems

    quick = [outcome(one) for one in broken]
    monkeypatch.setattr(reader, "QUICK", reader.EXACT)
    assert quick == [outcome(one) for one in broken]


def test_output_is_safe_for_a_terminal():
    """ensures that control characters in file names and text are spelled out."""
    with pytest.raises(CaseProblems) as caught:
        load_bytes(b"a: \x1b[31mred", "evil\x1b]0;x\x07\n.yaml")
    text = str(caught.value)
    assert text.startswith("evil\\x1b]0;x\\x07\\n.yaml:1:4: CASE004")
    assert not any(ord(c) < 32 and c != "\n" for c in text)


@pytest.mark.parametrize(("most", "fits"), [(5, True), (4, False)])
def test_as_many_values_as_are_let_in(monkeypatch, most, fits):
    """ensures that the limit itself is still let in: a mapping, a key, a list and two numbers."""
    monkeypatch.setattr("loambrief.case.reader.MAX_VALUES", most)
    if fits:
        assert read("a: [1, 2]\n")[1] == []
    else:
        assert [p.code for p in refused("a: [1, 2]\n")] == ["CASE008"]


@pytest.mark.parametrize("text", ["a: {b: ,c: 1}\n", "a: {b:  , c: 1}\n", "a: [1,\t2]\n"])
def test_what_the_quick_parser_takes_otherwise_goes_to_the_exact_one(text, monkeypatch):
    """ensures that places and problems do not depend on the parser where the two differ."""
    def outcome():
        try:
            source, problems = read(text)
        except CaseProblems as error:
            return error.problems
        return source.data, source.keys, source.values, problems

    quick = outcome()
    monkeypatch.setattr(reader, "QUICK", reader.EXACT)
    assert quick == outcome()


def test_a_question_in_braces_is_a_text():
    """ensures that a question mark before the closing brace is taken as it is typed."""
    source, problems = read("case: {purpose: Why these weeds?}\n")
    assert source.data == {"case": {"purpose": "Why these weeds?"}} and not problems
