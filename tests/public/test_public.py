"""Publication: nothing of a single well, small counts hidden, and an attack on what is hidden fails."""

import itertools
import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline import io, words
from pipeline.errors import UsageError
from pipeline.public import write_public
from pipeline.public.suppress import bounds, hidden
from pipeline.public.tables import with_sums
from pipeline.settings import Settings

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "report"))

import invented_run


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    made = tmp_path_factory.mktemp("made")
    invented_run.write(made / "run", 400)
    write_public(made / "run", made / "public", Settings(), "us")
    return made


def table(counts):
    """A frame of cells from {(area, region): {family: wells}}."""
    rows = [(a, f"{a} / {r}", f, n, 1000 * n) for (a, r), cells in counts.items() for f, n in cells.items()]
    return pd.DataFrame(rows, columns=["area", "region", "family", "wells", "length_mm"])


def test_reference_nine_is_hidden_with_one_partner_and_nought_is_shown():
    # Washington State Department of Health, small numbers: 1 to 9 hidden, zero may be shown, and one more hidden
    counts = np.array([159, 9, 0, 50, 100])
    out = hidden(counts, [(0, [1, 2, 3, 4])], least=10, width=5)
    assert out.tolist() == [False, True, False, True, False]


def test_two_hidden_small_counts_are_not_enough_where_they_add_to_few():
    # 1 + 2 = 3 leaves 1 or 2 for either: a third is hidden
    counts = np.array([63, 1, 2, 60])
    out = hidden(counts, [(0, [1, 2, 3])], least=10, width=5)
    assert out[1] and out[2] and out[3]


def attack(counts, relations, out, place):
    """All values of one hidden count that whole numbers allow, by trying every one (small tables only)."""
    places = np.flatnonzero(out).tolist()
    top = int(counts.max()) + 1
    found = set()
    free = places[:-1] if len(places) > 1 else places
    for guess in itertools.product(range(1, top), repeat=len(free)):
        trial = counts.copy()
        trial[free] = guess
        last = places[-1]
        if last not in free:
            for total, parts in relations:
                if last in parts:
                    trial[last] = trial[total] - sum(trial[p] for p in parts if p != last)
                    break
                if last == total:
                    trial[last] = sum(trial[p] for p in parts)
                    break
        if (trial[places] >= 1).all() and all(trial[t] == sum(trial[p] for p in parts) for t, parts in relations):
            found.add(int(trial[place]))
    return found


def test_reference_bounds_agree_with_trying_every_whole_number():
    counts = np.array([20, 4, 6, 10, 12, 2, 4, 6, 8, 2, 2, 4])  # a 2 by 3 table with its sums
    relations = [(0, [1, 2, 3]), (4, [5, 6]), (0, [4, 8]), (1, [5, 9]), (2, [6, 10])]
    counts[0], counts[4], counts[8] = 20, 6, 14
    counts[1], counts[2], counts[3] = counts[5] + counts[9], counts[6] + counts[10], 20 - 4 - 6
    out = np.zeros(12, bool)
    out[[5, 6, 9, 10]] = True
    for place, (low, high) in bounds(counts, relations, out, [5, 6]).items():
        tried = attack(counts, relations, out, place)
        assert (min(tried), max(tried)) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))


@pytest.mark.parametrize("seed", range(6))
def test_property_no_hidden_count_can_be_worked_out(seed):
    rng = np.random.default_rng(seed)
    places = {(f"A{a}", f"R{r}"): {f: int(n) for f, n in zip("vwxyz", rng.negative_binomial(1, 0.03, 5), strict=True)}
              for a in range(rng.integers(1, 4)) for r in range(rng.integers(1, 6))}  # fmt: skip
    cells = table(places)
    cells = cells[cells["wells"] > 0]
    whole, relations = with_sums(cells)
    counts = whole["wells"].to_numpy(np.int64)
    for total, parts in relations:
        assert counts[total] == counts[list(parts)].sum()
    out = hidden(counts, relations, 10, 5)
    small = (counts > 0) & (counts < 10)
    assert out[small].all()
    if out.all():
        return
    for place, (low, high) in bounds(counts, relations, out, np.flatnonzero(small).tolist()).items():
        assert high - low >= 5, (seed, whole.iloc[place].to_dict())
        assert low <= counts[place] <= high


def test_the_folder_holds_nothing_of_a_single_well(published):
    folder = published / "public"
    assert sorted(p.name for p in folder.iterdir()) == ["about.json", "families.csv", "index.html", "points.csv"]
    wells = io.read_table("wells", published / "run")
    text = "".join(p.read_text(encoding="utf-8") for p in folder.iterdir())
    assert not [w for w in wells["well_id"] if w in text]
    assert "R16" not in text
    points = pd.read_csv(folder / "points.csv")
    assert (points["wells_count"] >= 10).all()
    told = wells[["latitude_deg", "longitude_deg"]].dropna().round(5).to_records(index=False).tolist()
    assert not set(told) & set(points[["latitude_deg", "longitude_deg"]].to_records(index=False).tolist())


def test_small_counts_of_the_file_are_hidden_and_the_shown_are_true(published):
    shown = pd.read_csv(published / "public" / "families.csv", dtype=str)
    counts = shown[words.label("wells_count")]
    numbers = pd.to_numeric(counts[counts != words.say("public.hidden")])
    assert ((numbers == 0) | (numbers >= 10)).all() and len(numbers)
    total = shown[(shown[words.label("family_code")] == words.say("public.every")) & shown[words.label("area_code")].isna()]
    assert int(total[words.label("wells_count")].iloc[0]) == 400
    about = json.loads((published / "public" / "about.json").read_text())
    assert about["counts"]["hidden"] == int((counts == words.say("public.hidden")).sum())


def test_places_that_cannot_be_taken_are_refused(published, tmp_path):
    run = published / "run"
    for out in (run, run / "inside", run.parent):
        with pytest.raises(UsageError, match=r"apart|other"):
            write_public(run, out, Settings())
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "mine.txt").write_text("")
    with pytest.raises(UsageError, match="other things"):
        write_public(run, tmp_path / "x", Settings())
    with pytest.raises(UsageError, match="--replace"):
        write_public(run, published / "public", Settings())
