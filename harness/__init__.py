"""Bench Harness: the unattended bench for people who review hardware.

A **plan** is carried out on the **rig** under the **rules** in a **run**; the
**store** keeps it, the **summary** explains it, the **views** show it, the
**watch** does it all night.

The folders follow the data, and their alphabet is the order of the flow and of the
imports: a folder imports only folders before it.

    plan      ASKED        plan file -> Plan -> cells -> order
    rig       DONE         readings, commands, captures; the real bench, the rehearsed one
    rules     JUDGED       frames -> figures; gates, guards, limits; discard rules
    run       DRIVEN       state machine (pure) and the loop over ports
    store     KEPT         append-only records and captures
    summary   UNDERSTOOD   figures of a cell over its passes
    views     SHOWN        terminal, tables, JSON
    watch     UNATTENDED   the daemon: queue, nights, notices, service files

``commands`` is the door, the one exception to the alphabet: one file per command,
imported only when asked for.
"""

__version__ = "0.1.0"
