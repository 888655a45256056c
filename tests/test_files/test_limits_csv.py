"""Limits in a CSV: the very values of the TOML file, every fault at once, and what spreadsheets leave behind."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from batchtest.errors import FileFaults
from batchtest.files.limits import LimitsFile
from batchtest.files.limits_csv import parse_limits_csv
from batchtest.files.limits_rows import COLUMNS, KINDS, NAME, PLACE
from batchtest.files.limits_write import as_csv, as_toml
from batchtest.files.read import parse_document, read_document
from batchtest.formulas import formula_fault
from batchtest.quantities import write

from .conftest import EXAMPLE, Project

ROOT = Path(__file__).parents[2]
HEADER = ",".join(COLUMNS)
GOOD = f"""{HEADER}
board,,lamp,,,,,,,
revision,,A,,,,,,,
retests,,2,,,,,,,
serials,,LP-[0-9]{{4}},,,,,,,
cold resistance,short,,supply,,,900 ohm,,,
rail,logic,5 V,,,,,,data sheet,
load point,logic,,,0 A,2 %,,,,
load point,logic,,,20 mA,,4.8 V,5.2 V,,the worst case
regulation,logic,,,,,,2 %,,
output resistance,logic,,,,,,1 ohm,,
abort,logic,,,,,4 V,5.6 V,,
"""

NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,8}", fullmatch=True)
TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), min_size=1, max_size=15).filter(
    lambda text: text.strip() and formula_fault(text) is None
)


def quantities(unit: str, least: int = 0) -> st.SearchStrategy[str]:
    """Values as a person would write them."""
    return st.decimals(least, 100, places=4).map(lambda value: write(value, unit))


def bounds(unit: str, least: int = 0, names: tuple[str, str] = ("lower", "upper")) -> st.SearchStrategy[dict[str, str]]:
    """One bound or two, in order."""
    pairs = st.lists(st.decimals(least, 100, places=4), min_size=2, max_size=2).map(sorted)
    both = pairs.map(lambda two: {name: write(value, unit) for name, value in zip(names, two, strict=True)})
    return both.flatmap(lambda two: st.sampled_from([two, *({name: text} for name, text in two.items())]))


COLD = st.fixed_dictionaries({"point": NAMES, "resistance": bounds("ohm")}, optional={"source": TEXTS}) | (
    st.fixed_dictionaries({"point": NAMES, "diode": bounds("V", -100)}, optional={"source": TEXTS})
)


def entries(loads: list[Decimal]) -> st.SearchStrategy[list[dict[str, str]]]:
    """The load points of a rail, by rising load; a single one holds at all and has none."""
    bound = bounds("V", -100) | quantities("%").map(lambda share: {"within": share})
    return st.tuples(*[bound for _ in loads]).map(
        lambda found: [
            ({"load": write(load, "A")} if len(loads) > 1 else {}) | each
            for load, each in zip(loads, found, strict=True)
        ]
    )


@st.composite
def limits(draw: Any) -> LimitsFile:
    """Limits that hold together."""
    count = draw(st.integers(1, 3))
    rails = {}
    for name in draw(st.lists(NAMES, min_size=1, max_size=3, unique=True)):
        loads = sorted(draw(st.lists(st.decimals(0, 5, places=3), min_size=count, max_size=count, unique=True)))
        rail = {"nominal": draw(quantities("V", 1)), "source": draw(TEXTS), "at": draw(entries(loads))}
        if count > 1:
            rail |= draw(st.sampled_from([{}, {"regulation": {"upper": "2 %"}}, {"resistance": {"upper": "1.5 ohm"}}]))
        rails[name] = rail | draw(st.sampled_from([{}, {"abort": {"above": "99 kV", "below": "-99 kV"}}]))
    table = {"board": draw(NAMES), "revision": draw(TEXTS), "serials": "VN-[0-9]{4}", "rails": rails}
    table |= draw(st.sampled_from([{}, {"firmware": "1.4"}, {"option": "24 V", "retests": {"allowed": 3}}]))
    table |= {"decision": {"rule": draw(st.sampled_from(["guarded", "plain"]))}}
    return LimitsFile.model_validate(table | {"cold": draw(st.dictionaries(NAMES, COLD, max_size=3))})


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(known=limits())
def test_limits_come_back_from_either_file(known: LimitsFile) -> None:
    """TOML to CSV and back, and CSV to TOML and back: the same values, to the last digit."""
    assert parse_limits_csv(as_csv(known).encode(), "limits/x.csv").model == known
    assert parse_document(as_toml(known).encode(), "limits/x.toml", LimitsFile).model == known


def keys_of(model: Any, before: tuple[str, ...] = ()) -> set[tuple[str, ...]]:
    """Every key that limits may have down to its values; tables of any name are passed through."""
    found = set()
    for name, field in model.model_fields.items():
        inner = [each for each in (field.annotation, *get_args(field.annotation)) if hasattr(each, "model_fields")]
        found |= keys_of(inner[0], (*before, name)) if inner else {(*before, name)}
    return found


def test_every_key_of_limits_has_a_row_that_writes_it() -> None:
    """A key that is added to the limits file is added to the CSV too: neither way says less than the other."""
    written = {
        tuple(part for part in path + used if part not in (NAME, PLACE))
        for path, uses in KINDS.values()
        for used in uses.values()
    }
    assert written == keys_of(LimitsFile)


@pytest.mark.parametrize("board", ["vent", "mist"])
def test_the_shipped_limits_are_the_same_in_a_csv(board: str) -> None:
    """What the demo tests by does not depend on which way its limits are kept."""
    shipped = read_document(ROOT / "limits" / f"{board}.toml", ROOT, LimitsFile).model
    assert parse_limits_csv(as_csv(shipped).encode(), f"limits/{board}.csv").model == shipped


def test_a_csv_says_what_its_cells_say() -> None:
    """Each kind of row ends up where it belongs, with its unit taken off."""
    model = parse_limits_csv(GOOD.encode(), "limits/lamp.csv").model
    rail = model.rails["logic"]
    assert (model.board, model.revision, model.decision.rule) == ("lamp", "A", "guarded")
    assert model.cold["short"].resistance is not None
    assert model.cold["short"].resistance.lower == 900
    assert [(entry.load, entry.within, entry.lower) for entry in rail.at] == [
        (0, Decimal("0.02"), None),
        (Decimal("0.020"), None, Decimal("4.8")),
    ]
    assert rail.abort is not None
    assert (rail.abort.below, rail.abort.above) == (4, Decimal("5.6"))


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("\ufeff" + GOOD, id="byte-order-mark"),
        pytest.param(GOOD.replace("\n", "\r\n"), id="line-ends"),
        pytest.param(GOOD + ",,,,,,,,,\n,,,,,,,,,\n\n", id="empty-rows"),
        pytest.param(GOOD.replace("\n", ",,\n"), id="empty-columns"),
        pytest.param(GOOD.replace(",,,,,,,\n", "\n"), id="short-rows"),
        pytest.param(GOOD.replace("2 %", "2%").replace(",the worst case", ',"worst; of 3"'), id="rewritten-cells"),
    ],
)
def test_what_spreadsheets_leave_behind_says_nothing(text: str) -> None:
    """A file that came back from a spreadsheet gives the same values."""
    assert parse_limits_csv(text.encode(), "x").model == parse_limits_csv(GOOD.encode(), "x").model


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param(GOOD.replace(",", ";"), "line 1: has semicolons .* save it with commas", id="semicolons"),
        pytest.param(GOOD.replace(",", "\t"), "line 1: has tabs .* save it with commas", id="tabs"),
        pytest.param("sep=,\n" + GOOD, "line 1: is 'sep=,'.* take this line out", id="separator-line"),
        pytest.param("", "line 1: has no column what, name, .* begin the file with the line what,name", id="empty"),
        pytest.param(GOOD.replace("lower", "lowr", 1), "line 1: has the unknown column 'lowr'; did you", id="header"),
        pytest.param(GOOD.replace("note", "name", 1), "line 1: has the column 'name' twice", id="column-twice"),
        pytest.param(GOOD.replace("4.8 V", '"4,8 V"'), "line 9: column lower: has a comma; .* '4,8 V'", id="comma"),
        pytest.param(GOOD.replace("4.8 V", "4,8 V"), "line 9: has 'the worst case' beyond the last", id="bare-comma"),
        pytest.param(GOOD.replace("4.8 V", "4.8"), "line 9: column lower: has no unit; .* got '4.8'", id="no-unit"),
        pytest.param(GOOD.replace("4.8 V", "5.3 V"), "line 9: column lower: lower 5.3 V is above upper", id="crossed"),
        pytest.param(
            GOOD.replace("abort", "abrt"), "line 12: column what: is 'abrt'.* did you mean 'abort'", id="kind"
        ),
        pytest.param(GOOD.replace("rail,logic", "rail,"), "line 7: column name: is empty; name the rail", id="no-name"),
        pytest.param(GOOD.replace("board,,", "board,x,"), "line 2: column name: is not used by 'board'", id="name"),
        pytest.param(GOOD + "abort,logic,,,,,,6 V,,\n", "line 13: column what: stands already in line 12", id="twice"),
        pytest.param(
            GOOD.replace("5 V,,,,,,data", "5 V,tp,,,,,data"), "line 7: column point: is not used", id="unused"
        ),
        pytest.param(
            GOOD.replace("rail,logic,5 V,,,,,,data sheet,\n", ""), "no row 'rail' named 'logic'", id="no-rail"
        ),
        pytest.param(GOOD.replace("revision,,A,,,,,,,\n", ""), "there is no row 'revision'; add one", id="no-revision"),
        pytest.param(GOOD.replace("5 V,,,,,,data", ",,,,,,data"), "line 7: column value: is empty", id="no-nominal"),
        pytest.param(GOOD.replace("retests,,2", "retests,,two"), "column value: needs a whole number", id="retests"),
        pytest.param(GOOD.replace("data sheet", "=1+1"), "line 7: column source: has '='.* a formula", id="formula"),
        pytest.param(GOOD.replace("the worst case", "@x"), "line 9: column note: has '@'.* a formula", id="note"),
        pytest.param(GOOD.replace("data sheet", '"data'), "line 7: is no CSV .* close every quote", id="open-quote"),
        pytest.param(GOOD.encode("utf-16"), "line 1: has byte 0xff, which is not UTF-8; save it as UTF-8", id="utf-16"),
        pytest.param(GOOD.replace("4.8 V", "4.8 µV").encode("latin-1"), "line 9: has byte 0xb5", id="latin-1"),
    ],
)
def test_a_fault_names_line_column_value_and_cure(text: str | bytes, said: str) -> None:
    """What a person must mend is pointed at in the file's own terms."""
    with pytest.raises(FileFaults, match=said) as caught:
        parse_limits_csv(text if isinstance(text, bytes) else text.encode(), "limits/lamp.csv")
    assert all(fault.file == "limits/lamp.csv" for fault in caught.value.faults)


def test_all_faults_are_said_at_once() -> None:
    """A person mends the file in one pass."""
    text = GOOD.replace("4.8 V", "4.8").replace("abort", "abrt").replace("data sheet", "=1").replace("900 ohm", "900 V")
    with pytest.raises(FileFaults, match=r"lamp.csv") as caught:
        parse_limits_csv(text.encode(), "limits/lamp.csv")
    assert [(fault.line, fault.path) for fault in caught.value.faults] == [
        (6, "column lower"),
        (7, "column source"),
        (9, "column lower"),
        (12, "column what"),
    ]


@settings(max_examples=60)
@given(text=st.lists(st.lists(st.sampled_from([*COLUMNS, "rail", "a", "5 V", "", '"']), max_size=11), max_size=6))
def test_no_file_is_taken_for_limits_by_accident(text: list[list[str]]) -> None:
    """Any text is read or refused with its faults; nothing else comes out."""
    data = "\n".join([HEADER, *(",".join(row) for row in text)]).encode()
    with pytest.raises(FileFaults, match=r"x\.csv: line"):
        parse_limits_csv(data, "x.csv")


def as_a_csv(project: Project) -> Path:
    """The example's limits, moved into a CSV."""
    path = project.root / "limits" / "lamp.csv"
    toml = path.with_suffix(".toml")
    path.write_text(as_csv(read_document(toml, project.root, LimitsFile).model), newline="")
    return toml


def test_a_setup_is_the_same_with_its_limits_in_a_csv(project: Project) -> None:
    """Whatever is done with limits does not know which file they came from, but for its name and hash."""
    before = project.load()
    as_a_csv(project).unlink()
    after = project.load()
    assert after.limits == before.limits
    assert {"limits/lamp.csv"} == after.hashes.keys() - before.hashes.keys()


def test_limits_kept_twice_are_refused(project: Project) -> None:
    """Of two files that say the same thing somebody would edit the one that is not read."""
    as_a_csv(project)
    with pytest.raises(FileFaults, match=r"limits/lamp\.csv: stands beside limits/lamp\.toml; keep one of the two"):
        project.load()


def test_what_limits_say_against_other_files_names_the_column(project: Project) -> None:
    """A rail at a point that the fixture does not have is shown in the CSV, where it stands."""
    as_a_csv(project).unlink()
    rail = next(iter(project.load().limits.rails))
    project.replace("limits/lamp.csv", f"rail,{rail}", "rail,nowhere")
    path = project.root / "limits" / "lamp.csv"
    path.write_text(path.read_text().replace(f",{rail},", ",nowhere,"))
    with pytest.raises(FileFaults, match=r"limits/lamp\.csv: line \d+: column name: there is no point 'nowhere'"):
        project.load()


def test_a_text_that_a_spreadsheet_runs_is_refused_in_toml_too(project: Project) -> None:
    """Sources end up in records, which are opened with spreadsheets."""
    text = (EXAMPLE / "limits" / "lamp.toml").read_text()
    source = next(line for line in text.splitlines() if line.startswith("source"))
    project.replace("limits/lamp.toml", source, 'source = "=HYPERLINK(1)"')
    with pytest.raises(
        FileFaults, match=r"lamp.toml: line \d+: .*source: has '=' where a spreadsheet begins a formula"
    ):
        project.load()


def test_bounds_are_refused_as_values_too() -> None:
    """The model refuses an empty source, which a CSV could not say."""
    with pytest.raises(ValidationError, match="is empty; write what a person can look up"):
        LimitsFile.model_validate({"board": "x", "revision": " ", "serials": "V", "rails": {}})
