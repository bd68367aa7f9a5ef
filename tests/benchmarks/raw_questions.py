"""The questions of the due list and of the icing status in SQLite's own SQL, as one would write them by hand.

They answer what the pages answer, no less: test_pages_of_thousands.py holds the numbers and the order that
come out to those on the page. Parameters: today, soon (last day of 'due soon'), stale (the first day of use
that is not stale). What an instrument found out of calibration puts in doubt needs the engine; here it is
only asked whether there is such a finding.
"""

LATE = """(d.latest_on < :today OR d.hours_left < -c.tolerance_hours
    OR d.landings_left < -c.tolerance_landings)"""
PAST = "(d.calendar_on < :today OR d.hours_left < 0 OR d.landings_left < 0)"
STATE = f"""
    CASE WHEN d.aircraft_id IN (SELECT id FROM fleet_aircraft WHERE state = 'stored') THEN 'stored'
         WHEN {LATE} THEN 'overdue' WHEN {PAST} THEN 'in tolerance' WHEN d.untold THEN 'no record'
         WHEN d.due_on <= :soon THEN 'due soon' ELSE 'planned' END"""
POINTS = "checks_duepoint d JOIN checks_recurringcheck c ON c.id = d.check_due_id"
LEFT = "(SELECT id FROM fleet_aircraft WHERE state = 'left')"
DUE = (
    f"""SELECT {STATE} AS state, COUNT(*), MIN(d.computed_at) FROM {POINTS}
        WHERE d.aircraft_id NOT IN {LEFT} GROUP BY 1""",
    f"""SELECT d.id, a.registration, a.id, b.name, c.title, d.due_on, d.estimated, d.governing, d.hours_left,
        d.landings_left, {STATE}, d.done_on, d.last_event_id, d.latest_on, d.calendar_on, d.season_on,
        c.tolerance_days FROM {POINTS} JOIN fleet_aircraft a ON a.id = d.aircraft_id
        JOIN fleet_base b ON b.id = a.base_id WHERE d.id IN
        (SELECT id FROM checks_duepoint WHERE aircraft_id NOT IN {LEFT} ORDER BY due_on, id LIMIT 51)
        ORDER BY d.due_on, d.id""",
)

# Kinds by gravity, as numbers: 0 open, 1 expired, 2 not known, 3 deactivated, 4 disturbed, 5 not valid,
# 7 deferral limits, 8 overdue, 9 no record, 10 stale, 11 stored; 6, in doubt, is left to the engine.
DEFECTS = """
    SELECT * FROM (
        SELECT f.aircraft_id AS of_id, CASE WHEN p.id IS NULL THEN 0
                   WHEN MIN(COALESCE((SELECT x.expires_on FROM checks_extension x
                                      JOIN checks_extensionanswer y ON y.extension_id = x.id
                                      WHERE x.deferral_id = p.id AND y.approved),
                                     p.expires_on, '9999'), COALESCE(u.last_on, '9999')) < :today THEN 1
                   WHEN u.known_until < :today THEN 2 WHEN p.limits_icing THEN 7 END AS kind,
               f.id AS what, f.raised_at AS day, f.description || COALESCE(p.limitation, '') AS words
        FROM checks_defect f
        LEFT JOIN checks_deferral p ON p.id = (SELECT MAX(id) FROM checks_deferral WHERE defect_id = f.id)
        LEFT JOIN checks_deferraluse u ON u.deferral_id = p.id
        WHERE NOT EXISTS (SELECT 1 FROM checks_rectification r WHERE r.defect_id = f.id))
    WHERE kind IS NOT NULL"""
SIGNED = """{0}.state = 'signed' AND NOT EXISTS (SELECT 1 FROM checks_checkevent k
    WHERE k.supersedes_id = {0}.uuid AND k.state = 'signed')"""
LATER = "(l.work_date > e.work_date OR (l.work_date = e.work_date AND l.signed_at > e.signed_at))"
OF_TASK = "JOIN checks_revision r ON r.id = {0}.revision_id JOIN checks_procedure p ON p.id = r.procedure_id"
CHECKS = f"""
    SELECT e.aircraft_id AS of_id, 5 AS kind, e.uuid AS what, e.work_date AS day,
           p.title || e.next_action AS words
    FROM checks_checkevent e {OF_TASK.format("e")}
    WHERE e.outcome = 'not valid' AND {SIGNED.format("e")}
      AND NOT EXISTS (SELECT 1 FROM checks_decision d WHERE d.event_id = e.uuid AND d.accepted)
      AND NOT EXISTS (SELECT 1 FROM checks_checkevent l JOIN checks_revision q ON q.id = l.revision_id
                      WHERE l.aircraft_id = e.aircraft_id AND q.procedure_id = r.procedure_id
                        AND {LATER} AND {SIGNED.format("l")})
    UNION ALL
    SELECT e.aircraft_id, 4, e.uuid, e.work_date, p.title || s.restore_text
    FROM checks_checkevent e {OF_TASK.format("e")}
    JOIN checks_cautionfollowed f ON f.event_id = e.uuid JOIN checks_step s ON s.id = f.step_id
    WHERE e.state = 'draft' AND NOT f.restored AND s.restore_text <> ''
    UNION ALL
    SELECT e.aircraft_id, 3, e.uuid, e.work_date, p.title
    FROM checks_procedure p CROSS JOIN checks_revision r ON r.procedure_id = p.id
    CROSS JOIN checks_checkevent e ON e.revision_id = r.id  -- in this order: few procedures deactivate
    WHERE p.use_after = 'deactivated' AND {SIGNED.format("e")}
      AND NOT EXISTS (SELECT 1 FROM checks_checkevent l {OF_TASK.format("l")}
                      WHERE l.aircraft_id = e.aircraft_id AND {LATER} AND {SIGNED.format("l")}
                        AND (p.use_after = 'deactivated' OR (p.use_after = 'in use' AND
                             (NOT p.needs_inspection OR l.source = 'imported' OR EXISTS
                              (SELECT 1 FROM checks_signature g
                               WHERE g.event_id = l.uuid AND g.act = 'inspected')))))"""
OTHERS = f"SELECT of_id, kind, what, day, words FROM ({DEFECTS}) UNION ALL {CHECKS}"
STALE = """NOT EXISTS (SELECT 1 FROM fleet_utilisationentry u WHERE u.aircraft_id = a.id AND u."on" >= :stale
    AND NOT EXISTS (SELECT 1 FROM fleet_utilisationentry k WHERE k.supersedes_id = u.id))"""
FINDINGS = "SELECT COUNT(*) FROM checks_instrumentfinding"
AIRCRAFT = """SELECT a.id, a.registration, a.state, a.state_since, b.name,
    (SELECT MAX(u."on") FROM fleet_utilisationentry u WHERE u.aircraft_id = a.id AND NOT EXISTS
     (SELECT 1 FROM fleet_utilisationentry k WHERE k.supersedes_id = u.id))
    FROM fleet_aircraft a JOIN fleet_base b ON b.id = a.base_id"""


def words_of(first: str) -> tuple[str, str]:
    """Everything recorded against the aircraft of these keys."""
    return (
        f"""SELECT d.aircraft_id, d.id, d.last_event_id, d.due_on, c.title, {STATE} AS state FROM {POINTS}
            WHERE d.aircraft_id IN ({first}) AND ({STATE}) IN ('overdue', 'no record')""",
        f"SELECT * FROM ({OTHERS}) WHERE of_id IN ({first})",
    )


#: How many aircraft, and how many with something against.
NUMBERS = f"""
    WITH others AS MATERIALIZED (SELECT DISTINCT of_id FROM ({OTHERS}))
    SELECT COUNT(*), SUM(a.state = 'stored' OR {STALE}
        OR EXISTS (SELECT 1 FROM {POINTS} WHERE d.aircraft_id = a.id
                   AND ({LATE} OR (NOT COALESCE({PAST}, 0) AND d.untold)))
        OR a.id IN (SELECT of_id FROM others))
    FROM fleet_aircraft a WHERE a.state <> 'left'"""
#: The first by registration; their keys go into words_of.
FIRST = f"{AIRCRAFT} WHERE a.state <> 'left' ORDER BY a.registration LIMIT 101"
RANKED = f"""
    SELECT a.id, MIN(MIN(COALESCE(o.kind, 12), CASE WHEN a.state = 'stored' THEN 11 WHEN {STALE} THEN 10
                     ELSE 12 END),
               CASE WHEN a.state = 'stored' THEN 12 WHEN s.late THEN 8 WHEN s.unknown THEN 9
                    ELSE 12 END) AS kind,
           COALESCE(o.n, 0) + (a.state = 'stored' OR {STALE})
           + CASE WHEN a.state = 'stored' THEN 0 ELSE COALESCE(s.late + s.unknown, 0) END AS n, a.registration
    FROM fleet_aircraft a
    LEFT JOIN (SELECT d.aircraft_id AS of_id, SUM(COALESCE({LATE}, 0)) AS late,
                      SUM(d.untold AND NOT COALESCE({LATE}, 0) AND NOT COALESCE({PAST}, 0)) AS unknown
               FROM {POINTS} WHERE {LATE} OR d.untold GROUP BY 1) s ON s.of_id = a.id
    LEFT JOIN (SELECT of_id, MIN(kind) AS kind, COUNT(*) AS n FROM ({OTHERS}) GROUP BY 1) o ON o.of_id = a.id
    WHERE a.state <> 'left'"""
#: The same with the gravest first, as the page sorts when asked to; their keys go into words_of and AIRCRAFT.
RANKS = f"""
    SELECT id, kind, n, SUM(n > 0) OVER (), COUNT(*) OVER () FROM ({RANKED})
    ORDER BY kind, n DESC, registration LIMIT 101"""
