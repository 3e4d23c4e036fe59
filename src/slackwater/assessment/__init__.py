"""The one call: episode, trace, protocol and moment in; everything concluded out."""

from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.document import document

__all__ = ["Assessment", "assess", "document"]
