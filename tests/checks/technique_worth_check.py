"""Do the intervals of what a technique is worth hold the truth as often as they say?

``python tests/checks/technique_worth_check.py`` draws persons to whom a technique is truly worth so
many seconds, and whose pairs have the noise of real ones: skewed, with hesitations, evenings and
pairs that differ, a spread of the worth between evenings, and a choice of technique that depends on
what it is predicted to cost. 95 % intervals should hold the truth for 93 to 97 % of those who have
one.
"""

from __future__ import annotations

import argparse

import beside  # noqa: F401 - before helpers are imported
import numpy as np

from livecube.trends.worth import worth_of


def drawn_person(rng: np.random.Generator) -> tuple[float, tuple[np.ndarray, ...]]:
    """The true worth in seconds, and the pairs: seconds, taken, place, price, session."""
    sessions = int(rng.integers(6, 60))
    session = np.repeat(np.arange(sessions), rng.integers(2, 40, sessions))
    count = len(session)
    pace = float(rng.uniform(1.2, 3.5))
    worth = float(rng.uniform(-0.4, 0.8))
    evening = rng.normal(0, 0.12, sessions)
    likes = rng.normal(0, 0.7, sessions)
    place = rng.integers(1, 5, count)
    price = np.abs(rng.normal(0, 0.25, count))
    drift = float(rng.normal(0, 0.3)) * (session / sessions - 0.5)
    taken = rng.random(count) < 1 / (
        1 + np.exp(-(rng.normal(-0.5, 1) + likes[session] - 2 * price))
    )
    varying = float(rng.uniform(0, 0.15))
    worth_here = worth + rng.normal(0, varying, sessions)
    expected = pace * np.exp(evening[session] + drift) * (1.15 - 0.07 * place)
    expected = expected - taken * (worth_here[session] - price) + 0.2 * price
    spread = float(rng.uniform(0.2, 0.4))
    seconds = expected * np.exp(rng.normal(-(spread**2) / 2, spread, count))
    waits = rng.random(count) < float(rng.uniform(0, 0.06))
    seconds = seconds + waits * rng.exponential(0.6, count)
    # What is asked for is the mean over the pairs that were done by the technique.
    mean_price = float(price[taken].mean()) if taken.any() else 0.0
    return worth - mean_price, (seconds, taken, place, price, session)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--persons", type=int, default=1500)
    parser.add_argument("--seed", type=int, default=5)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    told = held = above = 0
    widths = []
    for _ in range(given.persons):
        worth, (seconds, taken, place, price, session) = drawn_person(rng)
        found = worth_of(seconds, taken, place, price, session)
        if found is None or found.low is None or found.high is None:
            continue
        told += 1
        held += found.low <= worth <= found.high
        above += worth > found.high
        widths.append(found.high - found.low)
    print(
        f"{given.persons} persons, {given.persons - told} with too few pairs to tell: of {told} "
        f"intervals {100 * held / max(told, 1):.1f} % hold the true worth ({above} are below it, "
        f"{told - held - above} above); median width {np.median(widths):.2f} s"
    )


if __name__ == "__main__":
    main()
