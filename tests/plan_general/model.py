"""The best memory plan by a general solver (HiGHS): a mixed-integer model that shares nothing with the search.

One instance a line comes in as JSON; one line goes out for each: the values of the criteria in their order, or null where
nothing fits. For every rate the modules could run at: how many channels hold which filling, how many sockets have which
shape (the capacities of their channels), how many packs of which lot are bought. Sockets alike are counted, not named.
"""

import itertools
import json
import os
import sys

import highspy

# A multiple of every number of ways up to 12.
TIME = 27720


def stream(row, ways, rate):
    """MB/s of a stream over all memory of a socket, rounded down."""
    left, time = list(row), 0
    while any(left):
        left.sort(reverse=True)
        filled = sum(1 for c in left if c)
        wide = max(w for w in ways if w <= filled)
        high = left[wide - 1]
        left[:wide] = [c - high for c in left[:wide]]
        time += high * TIME
    return sum(row) * TIME * rate * 8 // time if time else 0


class Model:
    """Columns and rows, for one rate."""

    def __init__(self):
        self.highs = highspy.Highs()
        for option, value in [("output_flag", False), ("threads", 1), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.9)]:
            self.highs.setOptionValue(option, value)
        self.columns = 0

    def column(self, most):
        self.highs.addCol(0.0, 0.0, float(most), 0, [], [])
        self.highs.changeColIntegrality(self.columns, highspy.HighsVarType.kInteger)
        self.columns += 1
        return self.columns - 1

    def row(self, terms, least, most):
        terms = {c: v for c, v in terms.items() if v}
        low = -highspy.kHighsInf if least is None else float(least)
        high = highspy.kHighsInf if most is None else float(most)
        self.highs.addRow(low, high, len(terms), list(terms), [float(v) for v in terms.values()])

    def least(self, terms):
        """The least whole value of `terms`; None when nothing fits."""
        for column in range(self.columns):
            self.highs.changeColCost(column, float(terms.get(column, 0)))
        self.highs.run()
        status = self.highs.getModelStatus()
        if status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible):
            return None
        assert status == highspy.HighsModelStatus.kOptimal, status
        values = self.highs.getSolution().col_value
        return sum(v * round(values[c]) for c, v in terms.items())


def at_rate(case, rate, reached):
    """The values at this rate or a higher one; `reached` is the first value of another rate, which a better one is not above."""
    deep = sum(1 for _ in itertools.takewhile(lambda r: r >= rate, case["rates"]))
    lots = [lot for lot in case["lots"] if lot["mts"] >= rate]
    fitted = [module for module in case["fitted"] if module["mts"] >= rate]
    sorts = sorted({(m["gib"], m["ranks"]) for m in lots + fitted})
    # Sockets that must match are one socket whose modules are needed several times.
    times = case["sockets"] if case["sockets_match"] else 1
    sockets = case["sockets"] // times
    fillings = [
        row
        for n in range(deep + 1)
        for row in itertools.combinations_with_replacement(sorts, n)
        if case["ranks_per_channel"] is None or sum(r for _, r in row) <= case["ranks_per_channel"]
    ]
    held = [sum(gib for gib, _ in row) for row in fillings]
    shapes = list(itertools.combinations_with_replacement(sorted(set(held)), case["channels"]))

    model = Model()
    x = [model.column(sockets * case["channels"]) for _ in fillings]
    y = [model.column(sockets) for _ in shapes]
    packs = [model.column(lot["count"] // lot["pack"]) for lot in lots]
    kept = [model.column(1) for _ in fitted]
    model.row({c: 1 for c in y}, sockets, sockets)
    for cap in set(held):
        terms = {c: 1 for c, h in zip(x, held) if h == cap}
        terms.update({c: -shape.count(cap) for c, shape in zip(y, shapes)})
        model.row(terms, 0, 0)
    for sort in sorts:
        terms = {c: row.count(sort) * times * case["units"] for c, row in zip(x, fillings)}
        terms.update({c: -lot["pack"] for c, lot in zip(packs, lots) if (lot["gib"], lot["ranks"]) == sort})
        terms.update({c: -case["units"] for c, m in zip(kept, fitted) if (m["gib"], m["ranks"]) == sort})
        model.row(terms, None, 0)
    model.row({c: h * times for c, h in zip(x, held)}, case["gib"], case["gib"] if case["exactly"] else None)
    cost = {c: lot["pack"] * lot["price"] for c, lot in zip(packs, lots)}
    if case["budget"] is not None:
        model.row(cost, None, case["budget"] + 0.25)
    worth = {
        "bandwidth": {c: -times * stream(shape, case["ways"], rate) for c, shape in zip(y, shapes)},
        "cost": cost,
        "modules": {c: len(row) * times for c, row in zip(x, fillings)},
    }
    if reached is not None:
        model.row(worth[case["order"][0]], None, reached + 0.25)
    found = []
    for name in case["order"]:
        value = model.least(worth[name])
        if value is None:
            assert not found, "what was reached before must be reached again"
            return None
        found.append(value)
        model.row(worth[name], None, value + 0.25)
    return found


def best(case):
    rates = set(case["rates"]) | {m["mts"] for m in case["lots"] + case["fitted"]}
    found = None
    for rate in sorted(rates, reverse=True):
        value = at_rate(case, rate, found and found[0])
        found = min(filter(None, (found, value)), default=None)
    return found and [-v if name == "bandwidth" else v for name, v in zip(case["order"], found)]


# The solver greets on standard output whatever it is told.
answers = os.fdopen(os.dup(1), "w")
os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
for line in sys.stdin:
    print(json.dumps(best(json.loads(line))), file=answers, flush=True)
