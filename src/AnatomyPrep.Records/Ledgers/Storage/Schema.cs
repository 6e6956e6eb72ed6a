namespace AnatomyPrep.Records.Ledgers.Storage;

/// <summary>The tables, as steps from one version to the next; the same for SQLite and PostgreSQL.</summary>
/// <remarks>
/// `event`, `node` and `head` hold the tree, `given_head` the heads that left the house; `term` and `model` are derived from the events and checked against them; `subject`
/// holds the keys of sealed personal data and is the only table from which something is ever removed.
/// A step is never changed once released: add another.
/// </remarks>
internal static class Schema
{
    internal static readonly IReadOnlyList<string[]> Steps =
    [
        [
            "CREATE TABLE ledger (id TEXT NOT NULL PRIMARY KEY, schema INTEGER NOT NULL)",
            """
            CREATE TABLE event (position INTEGER NOT NULL PRIMARY KEY, id TEXT NOT NULL, kind TEXT NOT NULL, at TEXT NOT NULL,
                person TEXT NOT NULL, key TEXT NOT NULL, envelope BLOB NOT NULL)
            """,
            "CREATE UNIQUE INDEX event_id ON event (id)",
            "CREATE INDEX event_kind ON event (kind, position)",
            "CREATE INDEX event_person ON event (person, position)",
            "CREATE INDEX event_key ON event (key, position)",
            "CREATE TABLE node (level INTEGER NOT NULL, position INTEGER NOT NULL, hash BLOB NOT NULL, PRIMARY KEY (level, position)){rowid}",
            "CREATE TABLE head (size INTEGER NOT NULL PRIMARY KEY, envelope BLOB NOT NULL)",
            "CREATE TABLE given_head (size INTEGER NOT NULL PRIMARY KEY, envelope BLOB NOT NULL)",
            "CREATE TABLE term (name TEXT NOT NULL, value TEXT NOT NULL, position INTEGER NOT NULL, PRIMARY KEY (name, value, position)){rowid}",
            "CREATE INDEX term_position ON term (position, name, value)",
            """
            CREATE TABLE model (model TEXT NOT NULL PRIMARY KEY, stage TEXT NOT NULL, preparer TEXT, releaser TEXT, facts BLOB NOT NULL)
            """,
            "CREATE TABLE subject (subject TEXT NOT NULL PRIMARY KEY, key BLOB NOT NULL)",
        ],
        [
            // Version 2: retention by date, and time stamps of heads (RFC 3161).
            "ALTER TABLE model ADD COLUMN retain_until TEXT",
            "CREATE INDEX model_retain_until ON model (retain_until)",
            "CREATE INDEX model_sole ON model (model) WHERE releaser IS NOT NULL AND releaser = preparer",
            "CREATE TABLE stamp (size INTEGER NOT NULL PRIMARY KEY, token BLOB NOT NULL)",
        ],
    ];

    internal static int Newest => Steps.Count;
}
