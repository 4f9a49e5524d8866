"""Many records in one stream: NDJSON rows in, NDJSON rows out, one record at a time.

``rows`` reads, ``tasks`` says what is done with one record, ``run`` and ``workers`` do it on one machine,
``cluster`` on many (CLUSTER.md).
"""
