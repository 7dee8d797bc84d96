"""The archive room: closed jobs of many bays in one database, audited before they enter and from it again.

The files stay the originals. The archive holds their lines byte for byte, and tables computed from them.
"""

from handsfree.archive._errors import ArchiveError
from handsfree.archive._figures import Figures, Scope, bays_of, figures
from handsfree.archive._open import Archive, open_archive
from handsfree.archive._page import report_page
from handsfree.archive._partition import schema_sql
from handsfree.archive._push import Loaded, batches, read_closed, store, store_many
from handsfree.archive._restore import audit_archived, jobs_of, restore
from handsfree.archive._text import none_text, report_text

__all__ = [
    "Archive",
    "ArchiveError",
    "Figures",
    "Loaded",
    "Scope",
    "audit_archived",
    "batches",
    "bays_of",
    "figures",
    "jobs_of",
    "none_text",
    "open_archive",
    "read_closed",
    "report_page",
    "report_text",
    "restore",
    "schema_sql",
    "store",
    "store_many",
]
