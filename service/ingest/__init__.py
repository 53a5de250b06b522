"""From the broker to the record: receive, decode, record, acknowledge, in that order."""
