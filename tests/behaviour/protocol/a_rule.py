"""One rule that uses every part of the file, to be broken or bent by the tests. Its numbers are invented."""

from __future__ import annotations

from typing import Any

from slackwater.protocol import Evaluation, Facts, Protocol, evaluate, load_protocol
from slackwater.protocol.given import facts_of

TEXT = """
name = "invented"
version = "1"
status = "draft"
approved_by = ""
source = "invented for the tests"
notes = "invented"

[applies]
indication = ["lung_resection"]
space = ["pleural"]
min_age_years = 16
max_age_years = 90
excludes = ["pneumonectomy", "invasive"]
needs = ["operation.end"]

[evidence]
data_age = "1 h"
gaps = "0 min"
restart_on = ["suction_change", "clamp_trial", "reconnection"]
means = "refused"

[guards.tube_open]
within = "4 h"
also_at = ["start"]
by = ["swing", "air", "charted"]

[guards.effort_seen]
within = "8 h"

[[removal]]
id = "air"
measure = "air_leak"
scope = "space"
bin = "10 min"
is = "below"
limit = "50 mL/min"
lasting = "8 h"
source = "invented"

[[removal]]
id = "fluid"
measure = "fluid_output"
is = "at_most"
limit = "6 mL/kg"
per = "kg"
within = "8 h"
data_age = "4 h"

[[removal]]
id = "colour"
measure = "fluid_appearance"
is = "none_of"
limit = ["bloody", "chylous"]
within = "24 h"

[[removal]]
id = "film"
measure = "chest_xray"
is = "shown"
after = "suction_change"
within = "24 h"

[[removal]]
id = "oxygen"
measure = "spo2"
is = "at_least"
limit = "92 %"
within = "4 h"

[[removal]]
id = "day"
measure = "hours_since"
of = "operation.end"
is = "at_least"
limit = "24 h"

[[step_down]]
id = "calmer"
measure = "air_leak"
bin = "10 min"
is = "below"
limit = "200 mL/min"
within = "1 h"

[[escalation]]
id = "bleeding"
measure = "fluid_output"
is = "at_least"
limit = "100 mL"
within = "1 h"
lasting = "2 h"
say = "EXAMPLE TEXT"

[escalation.only_until]
event = "operation.end"
plus = "6 h"

[[escalation]]
id = "clamp"
measure = "clamped_for"
is = "at_least"
limit = "30 min"

[[schedule]]
item = "spo2"
every = "4 h"
source = "invented"
"""

AIR_ALONE = """
name = "air alone"
version = "1"
status = "draft"
[evidence]
data_age = "1 h"
gaps = "{gaps}"
restart_on = ["suction_change", "clamp_trial", "reconnection"]
[guards]
tube_open = {{ within = "4 h", also_at = ["start"], by = ["charted"] }}
effort_seen = {{ within = "8 h" }}
[[removal]]
id = "air"
measure = "air_leak"
{bin}
is = "{how}"
limit = "{limit}"
lasting = "{lasting}"
"""


def load(text: str) -> Protocol:
    return load_protocol(text.encode(), "invented.toml")


def air_alone(
    how: str = "below",
    limit: str = "50 mL/min",
    bin: str = "10 min",
    lasting: str = "8 h",
    gaps: str = "0 min",
) -> Protocol:
    """A rule with one clause, on air; `bin` empty: every reading."""
    bin = f'bin = "{bin}"' if bin else ""
    return load(AIR_ALONE.format(how=how, limit=limit, bin=bin, lasting=lasting, gaps=gaps))


def one_clause(clause: str, block: str = "removal") -> Protocol:
    """A rule with one clause of any kind and no guards."""
    return load(
        'name = "one"\nversion = "1"\nstatus = "draft"\nguards = "none"\n'
        '[evidence]\ndata_age = "1 h"\ngaps = "0 min"\n'
        f'[[{block}]]\nid = "it"\n{clause}\n'
    )


def judge(protocol: Protocol, **given: Any) -> Evaluation:
    return evaluate(protocol, facts(protocol, **given))


def facts(protocol: Protocol, **given: Any) -> Facts:
    return facts_of(protocol, {"tube_open": "shown", **given})


def answer(protocol: Protocol, id_: str = "it", **given: Any) -> str:
    """The word for one clause, wherever it stands."""
    found = judge(protocol, **given)
    parts = (*found.criteria, *found.step_down, *found.escalation, *found.guards)
    return next(part.status.word for part in parts if part.id == id_)
