"""The one catalogue of words: everything a person reads of a result is an entry here.

`findings` says findings, `labels` members of closed sets, `sentences` all other sentences, and
`errors` why a photo could not be measured. Entries have named fields, and every number in them is
written by `numbers`, so that a second language is a second set of entries.
"""

from spraycheck.report.words.sentences import AID, CAUTION, say

__all__ = ["AID", "CAUTION", "say"]
