"""How the judge does in the other world: look-alikes called met, plainly met cases missed, minutes told apart.

    python bench/truth/score_other_world.py               the tables; progress on stderr
    python bench/truth/score_other_world.py --kind clot-slow --seed 1
    python bench/truth/score_other_world.py --json figures.json

Each case is judged by air-50-8h and air-20-8h as shipped and, only reported, with their guards waived;
beside them stands a plain threshold: every recorded value (every ten-minute mean) of 8 h below the limit.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import multiprocessing
import re
import sys
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np
import other_world as world

import slackwater
from slackwater import SlackwaterError

RULES = (world.RULE_50, world.RULE_20)
WORDS = ("met", "met_with_gaps", "cannot_tell", "not_met", "not_applicable", "refused")
HOURS_MS = 3_600_000


@cache
def rule(name: str, guarded: bool) -> slackwater.Protocol:
    if guarded:
        return slackwater.shipped_protocol(name)
    text = (files("slackwater.protocol") / "rules" / f"{name}.toml").read_text("utf-8")
    text = re.sub(r"^\[guards\]\n(?:(?!\[).*\n)*", "", text, flags=re.MULTILINE)
    return slackwater.load_protocol(('guards = "none"\n' + text).encode(), f"{name} without guards")


@dataclass
class Result:
    kind: str
    suite: str
    seed: int
    about: str
    note: str
    must_not: list[str]
    plain_for: list[str]
    answer: dict[str, str] = field(default_factory=dict)  # rule -> word
    unguarded: dict[str, str] = field(default_factory=dict)
    threshold: dict[str, bool] = field(default_factory=dict)
    stopped: dict[str, list[str]] = field(default_factory=dict)  # rule -> what kept it from met
    air: dict[str, str] = field(default_factory=dict)
    minutes: dict[str, int] = field(default_factory=dict)  # "truth/said" -> minutes
    by_fault: dict[str, list[int]] = field(default_factory=dict)  # fault -> [minutes, cannot tell, quiet]
    shown_open: list[int] = field(default_factory=lambda: [0, 0, 0])  # of a shut path: minutes, by swing, by air


def plain_threshold(bundle: world.Bundle, name: str) -> bool:
    """What a ruler laid on the raw file says: 8 h of stamps, everything printed below the limit."""
    ends = np.concatenate([ends for ends, _ in bundle.raw])
    flow = np.concatenate([flow for _, flow in bundle.raw])
    order = np.argsort(ends, kind="stable")
    ends, flow = ends[order], flow[order]
    keep = ~np.isnan(flow)
    if bundle.now_ms is not None:
        keep &= ends <= bundle.now_ms
    ends, flow = ends[keep], flow[keep]
    if not len(ends) or ends[-1] - ends[0] < 8 * HOURS_MS - 120_000:
        return False
    late = ends > ends[-1] - 8 * HOURS_MS
    ends, flow = ends[late], flow[late]
    if name == world.RULE_20:
        return bool(np.all(flow < world.LIMIT[name]))
    ten = (ends - 1) // 600_000
    ten -= ten[0]
    count = np.bincount(ten)
    mean = np.bincount(ten, flow)[count > 0] / count[count > 0]
    return bool(np.all(mean < world.LIMIT[name]))


def judge(task: tuple[str, int]) -> Result:
    kind, seed = task
    bundle = world.make(kind, seed)
    result = Result(
        kind, bundle.suite, seed, bundle.about, bundle.note, sorted(bundle.must_not), sorted(bundle.plain_for)
    )
    try:
        logs = [
            slackwater.read_log(data, slackwater.Layout.from_toml(layout, "layout.toml"), name)
            for name, data, layout in bundle.logs
        ]
        chart = slackwater.read_chart(bundle.chart, "chart.csv")
        episode = slackwater.read_episode(bundle.episode, "episode.toml")
    except SlackwaterError as error:
        for name in RULES:
            result.answer[name] = result.unguarded[name] = "refused"
            result.stopped[name] = [f"refused: {error}"]
            result.threshold[name] = plain_threshold(bundle, name)
        return result
    for name in RULES:
        result.threshold[name] = plain_threshold(bundle, name)
        for guarded in (True, False):
            said = slackwater.assess(
                logs, chart=chart, episode=episode, protocol=rule(name, guarded), now_ms=bundle.now_ms
            )
            evaluation = said.evaluation
            word = evaluation.overall.word if evaluation is not None else "not_applicable"
            if not guarded:
                result.unguarded[name] = word
                continue
            result.answer[name] = word
            if evaluation is not None:
                result.stopped[name] = _stopped(evaluation)
                result.air[name] = next((j.status.word for j in evaluation.criteria if j.id == "air"), "")
            if name == world.RULE_50 and (bundle.suite == "C" or any(bundle.hidden_by_minute)):
                _score_minutes(bundle, said, result)
    return result


def _stopped(evaluation: Any) -> list[str]:
    parts = []
    if evaluation.population.status.word != "met":
        parts.append(f"population {evaluation.population.status.word}: {'; '.join(evaluation.population.reasons)}")
    for judged in (*evaluation.criteria, *evaluation.guards):
        if judged.status.word in ("cannot_tell", "not_met", "met_with_gaps"):
            why = "; ".join([judged.note, *[need.what for need in judged.needs]]).strip("; ")
            parts.append(f"{judged.id} {judged.status.word}" + (f" ({why})" if why else ""))
    return parts


def _score_minutes(bundle: world.Bundle, said: slackwater.Assessment, result: Result) -> None:
    limit = world.LIMIT[world.RULE_50]
    hidden = np.array([bool(fault) for fault in bundle.hidden_by_minute])
    edge = np.zeros(len(hidden), np.bool_)
    for at in np.flatnonzero(np.diff(hidden.astype(int))).tolist():
        edge[max(0, at - 1) : at + 3] = True
    minutes: Counter[str] = Counter()
    by_fault: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for row in csv.DictReader(io.StringIO(slackwater.minute_csv(said))):
        stamp = np.datetime64(row["minute"].rstrip("Z"), "ms").astype(np.int64)
        at = int((stamp - bundle.connected_ms) // 60_000)
        if not 0 <= at < len(hidden) or edge[at]:
            continue
        fault, flow = bundle.hidden_by_minute[at], bundle.leak_by_minute[at]
        if fault in ("blocked", "slow clot", "apart"):
            result.shown_open[0] += 1
            result.shown_open[1] += row["open_shown"] == "swing"
            result.shown_open[2] += row["open_shown"] == "air"
        if fault:
            truth = "hidden"
            by_fault[fault][0] += 1
            by_fault[fault][1] += row["state"] == "cannot_tell"
            by_fault[fault][2] += row["state"] == "quiet"
        elif 0.7 * limit < flow < 1.4 * limit:
            truth = "near"
        else:
            truth = "leaking" if flow >= limit else "quiet"
        minutes[f"{truth}/{row['state']}"] += 1
        raw = float(row["flow_ml_per_min"] or "nan")
        minutes[f"{truth}/ruler-{'leaking' if raw >= limit else 'quiet' if raw < limit else 'cannot_tell'}"] += 1
        if truth in ("leaking", "quiet") and row["state"] == "cannot_tell":
            minutes[f"false-doubt/{row['reason'] or 'no reason'}"] += 1
    result.minutes, result.by_fault = dict(minutes), dict(by_fault)


# ------------------------------------------------------------------------------------------- tables


def _short(counts: Counter[str]) -> str:
    names = {"met": "met", "met_with_gaps": "gaps", "cannot_tell": "c/t", "not_met": "not", "not_applicable": "n/a"}
    names["refused"] = "ref"
    return " ".join(f"{names[word]}:{counts[word]}" for word in WORDS if counts[word])


def called_met(word: str) -> bool:
    return word in ("met", "met_with_gaps")


def kind_table(results: list[Result]) -> list[str]:
    lines = [
        f"{'':2}{'kind':<40}{'n':>3}  {'air-50-8h':<20}{'air-20-8h':<20}"
        f"{'unguarded met 50,20':>20}{'ruler met 50,20':>17}"
    ]
    by_kind: dict[str, list[Result]] = defaultdict(list)
    for result in results:
        by_kind[result.kind].append(result)
    suite = ""
    for kind, group in by_kind.items():
        if group[0].suite != suite:
            suite = group[0].suite
            lines.append({"A": "-- must not be met", "B": "-- plainly met"}[suite])
        if suite == "A":
            bad = any(called_met(r.answer[name]) for r in group for name in r.must_not)
        else:
            bad = any(not called_met(r.answer[name]) for r in group for name in r.plain_for)
        cells = [_short(Counter(r.answer[name] for r in group)) for name in RULES]
        for i, name in enumerate(RULES):
            if suite == "A" and name not in group[0].must_not:
                cells[i] = f"({cells[i]})"
            if suite == "B" and not all(name in r.plain_for for r in group):
                cells[i] += f" [{sum(name in r.plain_for for r in group)} plain]"
        waived = ",".join(str(sum(called_met(r.unguarded[name]) for r in group)) for name in RULES)
        ruler = ",".join(str(sum(r.threshold[name] for r in group)) for name in RULES)
        lines.append(
            f"{'!!' if bad else '':2}{kind:<40}{len(group):>3}  {cells[0]:<20}{cells[1]:<20}{waived:>20}{ruler:>17}"
        )
    lines.append("(in brackets: the rule is not claimed to be unmet there)")
    return lines


def figures_of(results: list[Result]) -> dict[str, Any]:
    figures: dict[str, Any] = {}
    for name in RULES:
        against = [r for r in results if r.suite == "A" and name in r.must_not]
        plain = [r for r in results if r.suite == "B" and name in r.plain_for and not r.kind.startswith("arguable")]
        arguable = [r for r in results if r.suite == "B" and name in r.plain_for and r.kind.startswith("arguable")]
        figures[name] = {
            "must_not_be_met": len(against),
            "must_not_be_met_called_met": sum(called_met(r.answer[name]) for r in against),
            "must_not_be_met_called_met_unguarded": sum(called_met(r.unguarded[name]) for r in against),
            "must_not_be_met_called_met_ruler": sum(r.threshold[name] for r in against),
            "plainly_met": len(plain),
            "plainly_met_missed": sum(not called_met(r.answer[name]) for r in plain),
            "plainly_met_missed_unguarded": sum(not called_met(r.unguarded[name]) for r in plain),
            "plainly_met_missed_ruler": sum(not r.threshold[name] for r in plain),
            "arguably_met": len(arguable),
            "arguably_met_missed": sum(not called_met(r.answer[name]) for r in arguable),
        }
    total: Counter[str] = Counter()
    by_fault: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    by_cadence: dict[str, Counter[str]] = defaultdict(Counter)
    for result in results:
        if result.suite != "C":
            continue
        total.update(result.minutes)
        by_cadence[result.kind.rpartition("-")[2]].update(result.minutes)
        for fault, counts in result.by_fault.items():
            key = f"{fault} {result.kind.rpartition('-')[2]}"
            by_fault[key] = [a + b for a, b in zip(by_fault[key], counts, strict=True)]
    shut = [r for r in results if r.shown_open[0]]
    figures["shut_path_minutes_shown_open"] = {
        "minutes": sum(r.shown_open[0] for r in shut),
        "by_swing": sum(r.shown_open[1] for r in shut),
        "by_air": sum(r.shown_open[2] for r in shut),
        "cases_over_1_percent": {
            f"{r.kind} --seed {r.seed}": r.shown_open for r in shut if sum(r.shown_open[1:]) > 0.01 * r.shown_open[0]
        },
    }
    if total:
        figures["minutes"] = _minute_figures(total)
        figures["minutes_by_cadence"] = {cadence: _minute_figures(counts) for cadence, counts in by_cadence.items()}
        figures["hidden_minutes_by_fault"] = {
            fault: {"minutes": n, "cannot_tell": told, "quiet": quiet} for fault, (n, told, quiet) in by_fault.items()
        }
    return figures


def _share(part: float, whole: float) -> float | None:
    return round(part / whole, 4) if whole else None


def _minute_figures(total: Counter[str]) -> dict[str, Any]:
    said = ("leaking", "quiet", "cannot_tell")
    matrix = {t: {s: total[f"{t}/{s}"] for s in said} for t in ("leaking", "quiet", "near", "hidden")}
    doubted = sum(matrix[t]["cannot_tell"] for t in matrix)
    assessable = [(t, sum(matrix[t][s] for s in ("leaking", "quiet"))) for t in ("leaking", "quiet")]
    recalls = [matrix[t][t] / n for t, n in assessable if n]
    ruler = [
        total[f"{t}/ruler-{t}"] / max(1, total[f"{t}/ruler-leaking"] + total[f"{t}/ruler-quiet"])
        for t in ("leaking", "quiet")
    ]
    return {
        "truth_by_said": matrix,
        "not_assessable_recall": _share(matrix["hidden"]["cannot_tell"], sum(matrix["hidden"].values())),
        "not_assessable_precision": _share(matrix["hidden"]["cannot_tell"], doubted),
        "hidden_called_quiet": _share(matrix["hidden"]["quiet"], sum(matrix["hidden"].values())),
        "balanced_accuracy": round(float(np.mean(recalls)), 4) if recalls else None,
        "balanced_accuracy_ruler": round(float(np.mean(ruler)), 4),
        "false_doubt_reasons": {k.partition("/")[2]: v for k, v in total.items() if k.startswith("false-doubt/")},
    }


def report(results: list[Result], figures: dict[str, Any]) -> list[str]:
    lines = kind_table([r for r in results if r.suite in "AB"])
    lines.append("")
    for name in RULES:
        f = figures[name]
        n, p = f["must_not_be_met"], f["plainly_met"]
        lines += [
            f"{name}: must not be met {n}: called met {f['must_not_be_met_called_met']}"
            f" (guards waived {f['must_not_be_met_called_met_unguarded']},"
            f" ruler {f['must_not_be_met_called_met_ruler']});"
            f" plainly met {p}: missed {f['plainly_met_missed']}"
            f" (guards waived {f['plainly_met_missed_unguarded']}, ruler {f['plainly_met_missed_ruler']});"
            f" arguably met {f['arguably_met']}: missed {f['arguably_met_missed']}"
        ]
    lines += ["", "must not be met, called met:"]
    for r in results:
        for name in r.must_not:
            if called_met(r.answer[name]):
                lines.append(f"  --kind {r.kind} --seed {r.seed}  {name}  [{r.about}] {r.note}")
    lines += ["", "plainly met, missed:"]
    for r in results:
        if r.suite == "B":
            for name in r.plain_for:
                if not called_met(r.answer[name]):
                    lines.append(f"  --kind {r.kind} --seed {r.seed}  {name}  {r.answer[name]}  [{r.about}]")
                    lines += [f"      {part}" for part in r.stopped.get(name, [])]
    shut = figures["shut_path_minutes_shown_open"]
    lines += ["", f"minutes of a shut or open-ended path {shut['minutes']}: shown open by swing {shut['by_swing']},"]
    lines[-1] += f" by air {shut['by_air']}; cases with more than one in a hundred [minutes, swing, air]:"
    lines += [f"  --kind {case}  {counts}" for case, counts in shut["cases_over_1_percent"].items()]
    if "minutes" in figures:
        lines += ["", "minutes (air-50-8h), truth by said:"]
        for cadence, f in {"all": figures["minutes"], **figures["minutes_by_cadence"]}.items():
            lines.append(
                f"  {cadence:<5} not assessable: recall {f['not_assessable_recall']}, precision "
                f"{f['not_assessable_precision']}, called quiet {f['hidden_called_quiet']}; balanced accuracy "
                f"{f['balanced_accuracy']} (ruler {f['balanced_accuracy_ruler']})"
            )
            lines += [f"        {truth:<8} {row}" for truth, row in f["truth_by_said"].items()]
            lines.append(f"        false doubt: {f['false_doubt_reasons']}")
        lines.append("  hidden minutes by fault and cadence:")
        for fault, f in sorted(figures["hidden_minutes_by_fault"].items()):
            lines.append(f"        {fault:<20} {f}")
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kind", help="only kinds that begin so")
    parser.add_argument("--seed", type=int, help="only this seed")
    parser.add_argument("--seeds", type=int, help="so many seeds of every kind, instead of each kind's own number")
    parser.add_argument("--suite", choices=("A", "B", "C"), help="only this suite")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", type=Path, metavar="FILE", help="write every figure and case")
    asked = parser.parse_args()
    tasks = [
        (kind, seed)
        for kind, (suite, seeds, _) in world.KINDS.items()
        if (not asked.kind or kind.startswith(asked.kind)) and asked.suite in (None, suite)
        for seed in ([asked.seed] if asked.seed is not None else range(asked.seeds or seeds))
    ]
    began = time.monotonic()
    results: list[Result] = []
    with ProcessPoolExecutor(asked.jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        for result in pool.map(judge, tasks, chunksize=4):
            results.append(result)
            if len(results) % 20 == 0 or len(results) == len(tasks):
                print(f"{len(results)} of {len(tasks)}, {time.monotonic() - began:.0f} s", file=sys.stderr)
    figures = figures_of(results)
    print("\n".join(report(results, figures)))
    if asked.kind:
        for r in results:
            print(f"\n{r.kind} {r.seed}: {r.about}\n  unguarded {r.unguarded}, air {r.air}, ruler {r.threshold}")
            for name, parts in r.stopped.items():
                print(f"  {name} {r.answer[name]}: {' | '.join(parts)}")
    if asked.json:
        asked.json.write_text(json.dumps({"figures": figures, "cases": [vars(r) for r in results]}, indent=1) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
