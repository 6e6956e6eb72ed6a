using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using Microsoft.Data.Sqlite;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>What somebody with the database file, a head or a proof in hands can change, and what then happens.</summary>
public sealed class LedgerTamperTests(ITestOutputHelper output) : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public void Every_single_bit_change_of_the_database_is_named_or_leaves_every_row_as_it_was() => FlipDatabaseBits(60);

    [Fact]
    [Trait("Kind", "Slow")]
    public void Every_single_bit_change_of_the_database_is_named_or_leaves_every_row_as_it_was_many() => FlipDatabaseBits(7000);

    [Fact]
    public void Every_single_bit_change_of_a_head_is_refused()
    {
        using var story = Story(60);
        var head = story.Ledger.PublishHead();
        using var key = AnatomyPrep.Records.Keys.VerificationKey.FromPem(story.Ledger.People.FindKey(story.Ledger.People.LogKeyId!)!.Pem, "key");
        TreeHead.Verify(head, key).Size.Should().Be(story.Ledger.Size());
        for (var bit = 0; bit < head.Length * 8; bit += 3)
        {
            var changed = Flipped(head, bit);
            FluentActions.Invoking(() => TreeHead.Verify(changed, key)).Should().Throw<CheckFailedException>("bit {0} was changed", bit);
        }
    }

    [Fact]
    public void Every_single_bit_change_of_a_proof_is_refused()
    {
        using var story = Story(60);
        var size = story.Ledger.Size();
        var root = story.Ledger.Root(size);
        foreach (var position in new[] { 0, size / 3, size - 1 })
        {
            var leaf = MerkleHash.Leaf(story.Ledger.Event(position)!.Envelope);
            var proof = story.Ledger.InclusionProof(position, size);
            MerkleProof.VerifyInclusion(leaf, position, size, proof, root);
            for (var bit = 0; bit < proof.Count * 256; bit++)
            {
                var changed = proof.Select(h => h.ToArray()).ToArray();
                changed[bit / 256][bit % 256 / 8] ^= (byte)(1 << (bit % 8));
                FluentActions.Invoking(() => MerkleProof.VerifyInclusion(leaf, position, size, changed, root)).Should().Throw<CheckFailedException>();
            }
        }
    }

    [Fact]
    public void Changed_rows_are_named_by_what_they_are()
    {
        using (Story(60))
        {
        }

        foreach (var (sql, code) in new[]
        {
            ("UPDATE event SET envelope = (SELECT envelope FROM event WHERE position = 20) WHERE position = 21", LedgerFailures.EventDuplicate),
            ("UPDATE event SET envelope = x'00' WHERE position = 21", LedgerFailures.EventForm),
            ("UPDATE event SET person = 'ada' WHERE position = 21", LedgerFailures.EventRow),
            ("UPDATE event SET key = 'x' WHERE position = 21", LedgerFailures.EventRow),
            ("DELETE FROM event WHERE position = 21", LedgerFailures.EventMissing),
            ("DELETE FROM event WHERE position = (SELECT MAX(position) FROM event)", LedgerFailures.TailRemoved),
            ("UPDATE event SET position = 1000 WHERE position = 21; UPDATE event SET position = 21 WHERE position = 22; UPDATE event SET position = 22 WHERE position = 1000", LedgerFailures.TreeNode),
            ("UPDATE node SET hash = zeroblob(32) WHERE level = 2 AND position = 3", LedgerFailures.TreeNode),
            ("DELETE FROM node WHERE level = 0 AND position = 7", LedgerFailures.TreeNode),
            ("UPDATE term SET value = 'L-999' WHERE name = 'lot'", LedgerFailures.Index),
            ("DELETE FROM term WHERE name = 'lot'", LedgerFailures.Index),
            ("INSERT INTO term VALUES ('lot', 'L-1', 0)", LedgerFailures.Index),
            ("UPDATE model SET stage = 'Released' WHERE model = 'M-1/1'", LedgerFailures.ModelState),
            ("UPDATE model SET releaser = 'tina' WHERE model = 'M-1/1'", LedgerFailures.ModelState),
            ("DELETE FROM model WHERE model = 'M-1/1'", LedgerFailures.ModelState),
            ("UPDATE head SET size = 5", LedgerFailures.Head),
            ("DELETE FROM head", LedgerFailures.Head),
            ("UPDATE ledger SET id = '00'", LedgerFailures.EventNotAllowed),
            ("SELECT 1", LedgerFailures.Database),
        })
            Failures(Tampered(sql)).Select(f => f.Code).Should().Contain(code, sql);
    }

    /// <summary>A key that signed hundreds of events is checked by its table, and a signature of another key is named all the same.</summary>
    [Fact]
    public void Wrong_signature_among_many_of_one_key_is_named()
    {
        using var story = Story(20);
        story.Ledger.Append([.. Enumerable.Range(0, 600).Select(i => story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), $"N-{i}/1"))]);
        var position = story.Ledger.Size() - 7;
        var honest = System.Text.Encoding.UTF8.GetString(story.Ledger.Event(position)!.Envelope);
        var forged = Convert.ToBase64String(story.Key("tom").Sign(story.Ledger.Event(position)!.Signed()));
        var changed = string.Concat(honest.AsSpan(0, honest.IndexOf("\"sig\":\"", StringComparison.Ordinal) + 7), forged, "\"}]}");
        Failures(Copy()).Should().BeEmpty("the honest one holds");
        Failures(Tampered($"UPDATE event SET envelope = CAST('{changed}' AS BLOB) WHERE position = {position.ToString(System.Globalization.CultureInfo.InvariantCulture)}"))
            .Should().Contain(f => f.Code == LedgerFailures.EventSignature && f.Where == $"event {position}");
    }

    [Fact]
    public void Whole_history_made_anew_without_the_log_key_is_named()
    {
        using var story = Story(40);
        using var other = Story(40, "other");
        var copy = Copy();
        Execute(copy, $"ATTACH '{_folder["other"]}/ledger.db' AS other; DELETE FROM head; INSERT INTO head SELECT * FROM other.head;");
        Failures(copy).Select(f => f.Code).Should().Contain(LedgerFailures.Head);
    }

    [Fact]
    public void Witness_sees_rollback_removed_tail_rewriting_and_fork()
    {
        using var story = Story(40);
        var old = Copy();
        Witness.CopyTo(story.Ledger, _folder["witness"]);
        story.Prepare("W-1/1");
        Witness.CopyTo(story.Ledger, _folder["witness"]);
        var heads = Witness.Load(_folder["witness"]);
        heads.Should().HaveCount(2);
        LedgerChecks.Full(story.Ledger, heads, RunContext.Default).Failures.Should().BeEmpty();

        // The file as it was before: whole by itself, but the witness has seen more.
        Failures(old).Should().BeEmpty();
        Failures(old, heads).Should().OnlyContain(f => f.Code == LedgerFailures.RolledBack).And.HaveCount(1);

        // The old file goes on with other events, under the ledger's own key: whole by itself again.
        using (var fork = Open(old))
        {
            using var key = fork.OpenKey("cora", LedgerStory.Passphrase);
            for (var i = 0; i < 3; i++)
                fork.Append(fork.Sign(new EventDraft(LedgerEventKind.Request, LedgerStory.Request(), [$"F-{i}/1"]), "cora", key));
            LedgerChecks.Full(fork, [], RunContext.Default).Failures.Should().BeEmpty();
            LedgerChecks.Full(fork, heads, RunContext.Default).Failures.Should().OnlyContain(f => f.Code == LedgerFailures.Rewritten);
            var forked = Witness.Read(fork.PublishHead(), "printed code");
            LedgerChecks.Full(story.Ledger, [.. heads, forked], RunContext.Default).Failures.Select(f => f.Code).Should().Contain(LedgerFailures.Fork);
            FluentActions.Invoking(() => Witness.CopyTo(fork, _folder["witness"])).Should().Throw<CheckFailedException>().Which.Found.Should().Contain("fork");
        }

        var cut = Copy();
        Execute(cut, "DELETE FROM event WHERE position = (SELECT MAX(position) FROM event)");
        Failures(cut, heads).Select(f => f.Code).Should().Contain([LedgerFailures.TailRemoved, LedgerFailures.RolledBack]);
    }

    [Fact]
    public void Forged_witness_heads_are_named_and_printed_and_second_ledger_heads_count_as_well()
    {
        using var story = Story(20);
        using var second = Story(0, "second");
        var envelope = story.Ledger.PublishHead();
        var printed = _folder["codes.txt"];
        File.WriteAllText(printed, Witness.Code(envelope) + "\n");
        Witness.Record(second.Ledger, envelope);
        var heads = Witness.Load(printed).Concat(Witness.FromLedger(second.Ledger, story.Ledger.Id)).ToList();
        heads.Should().HaveCount(2);
        LedgerChecks.Full(story.Ledger, heads, RunContext.Default).Failures.Should().BeEmpty();
        using var stranger = AnatomyPrep.Records.Keys.SigningKey.Create();
        var forged = Witness.Read((heads[0].Head with { Size = 3 }).Sign(stranger), "forged");
        LedgerChecks.Full(story.Ledger, [forged], RunContext.Default).Failures.Should().ContainSingle().Which.Code.Should().Be(LedgerFailures.Witness);
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void Printed_code_is_read_back_by_a_general_reader()
    {
        using var story = Story(0);
        var code = Witness.Code(story.Ledger.PublishHead());
        File.WriteAllBytes(_folder["head.png"], HeadCode.Png(code));
        var read = Tool.Run(_folder.Path, "zbarimg", "-q", "--raw", "head.png");
        File.WriteAllText(_folder["codes.txt"], read.Output.Split((char)10).First(l => l.StartsWith(Witness.CodePrefix, StringComparison.Ordinal)));
        LedgerChecks.Full(story.Ledger, Witness.Load(_folder["codes.txt"]), RunContext.Default).Failures.Should().BeEmpty();
    }

    [Fact]
    public void Start_check_stops_on_a_head_that_does_not_fit()
    {
        using (var story = Story(20))
            LedgerChecks.OnStart(story.Ledger);
        var cut = Tampered("DELETE FROM event WHERE position = (SELECT MAX(position) FROM event)");
        using var ledger = Open(cut);
        LedgerTests.Refused(() => LedgerChecks.OnStart(ledger), Refusals.DatabaseDamaged);
    }

    /// <summary>A quick check that holds what it should not is found out by the sample the system is asked about, and then trusted with nothing.</summary>
    /// <remarks>A key gets its table when it has signed many in an earlier chunk of 16,384 events.</remarks>
    [Fact]
    [Trait("Kind", "Slow")]
    public void Quick_check_that_holds_everything_is_found_out()
    {
        const int Events = 18_000;
        using (var story = LedgerStory.Begin(new LedgerPlace(_folder["ledger"])))
        {
            story.Clock.Tick = TimeSpan.FromMilliseconds(1);
            story.Ledger.Append([.. Enumerable.Range(1, Events).Select(i => story.Sign("cora", LedgerEventKind.Request, LedgerStory.Request(), $"M-{i}/1"))]);
        }

        // Each of the later events gets the signature of the first.
        var last = "'\"sig\":\"'";
        Execute(_folder["ledger"], $"UPDATE event SET envelope = CAST(substr(envelope, 1, instr(envelope, {last}) - 1) || substr((SELECT envelope FROM event WHERE position = 20), (SELECT instr(envelope, {last}) FROM event WHERE position = 20)) AS BLOB) WHERE position > 16400");
        using var ledger = Open(_folder["ledger"]);
        var report = LedgerVerifier.Verify(ledger, [], RunContext.Default, null, items =>
        {
            foreach (var item in items)
                item.Holds = true;
        });
        report.Failures.Select(f => f.Code).Should().Contain(LedgerFailures.EventSignature);
        report.Notes.Should().Contain(n => n.Contains("quick check", StringComparison.Ordinal));
        LedgerVerifier.Verify(ledger, [], RunContext.Default).Notes.Should().NotContain(n => n.Contains("quick check", StringComparison.Ordinal));
    }

    private void FlipDatabaseBits(int cases)
    {
        using (Story(200))
        {
        }

        var good = File.ReadAllBytes(_folder["ledger.db"]);
        var dump = Dump(_folder.Path);
        Directory.CreateDirectory(_folder["flip"]);
        var random = new Random(20);
        var (named, empty) = (0, 0);
        for (var i = 0; i < cases; i++)
        {
            var bit = random.NextInt64(good.Length * 8L);
            foreach (var file in Directory.GetFiles(_folder["flip"]))
                File.Delete(file);
            File.WriteAllBytes(Path.Combine(_folder["flip"], "ledger.db"), Flipped(good, bit));
            var failures = Failures(_folder["flip"]);
            if (failures.Count > 0)
                named++;
            else if (Dump(_folder["flip"]) == dump)
                empty++;
            else
                throw new InvalidOperationException($"Bit {bit} of the database was changed, a row says something else, and nothing was named.");
        }

        output.WriteLine($"{cases} bits changed in {good.Length} bytes: {named} named, {empty} where the file holds nothing");
        (named + empty).Should().Be(cases);
        named.Should().BeGreaterThan(cases / 2);
    }

    /// <summary>Every row of every table and the schema, as text.</summary>
    private static string Dump(string folder)
    {
        using var connection = new SqliteConnection($"Data Source={Path.Combine(folder, "ledger.db")};Pooling=False");
        connection.Open();
        var text = new System.Text.StringBuilder();
        foreach (var table in new[] { "sqlite_schema", "ledger", "event", "node", "head", "given_head", "term", "model", "subject", "stamp" })
        {
            using var command = connection.CreateCommand();
            command.CommandText = table == "sqlite_schema" ? "SELECT type, name, tbl_name, sql FROM sqlite_schema" : $"SELECT * FROM {table} ORDER BY 1, 2";
            using var reader = command.ExecuteReader();
            while (reader.Read())
                for (var i = 0; i < reader.FieldCount; i++)
                    text.Append(reader.IsDBNull(i) ? "null" : reader.GetValue(i) is byte[] blob ? Convert.ToHexString(blob) : reader.GetValue(i).ToString()).Append('|');
        }

        return text.ToString();
    }

    private static byte[] Flipped(byte[] bytes, long bit)
    {
        var changed = bytes.ToArray();
        changed[bit / 8] ^= (byte)(1 << (int)(bit % 8));
        return changed;
    }

    private LedgerStory Story(int events, string? below = null)
    {
        var story = LedgerStory.Begin(new LedgerPlace(below is null ? _folder.Path : _folder[below]));
        for (var model = 1; story.Ledger.Size() < events; model++)
        {
            story.Prepare($"M-{model}/1");
            story.Release($"M-{model}/1");
            story.Deliver($"M-{model}/1", $"L-{model % 4}", "ward-1");
        }

        story.Ledger.Locked(s =>
        {
            s.Settle();
            return 0;
        });
        return story;
    }

    /// <summary>A copy of the ledger's file, as an administrator could make one.</summary>
    private string Copy()
    {
        var to = Directory.CreateDirectory(_folder[Guid.NewGuid().ToString("N")]).FullName;
        using (var connection = new SqliteConnection($"Data Source={_folder["ledger.db"]};Pooling=False"))
        using (var target = new SqliteConnection($"Data Source={Path.Combine(to, "ledger.db")};Pooling=False"))
        {
            connection.Open();
            target.Open();
            connection.BackupDatabase(target);
        }

        Tool.Run(to, "cp", "-a", _folder["keys"], Path.Combine(to, "keys")).ExitCode.Should().Be(0);
        return to;
    }

    private string Tampered(string sql)
    {
        var copy = Copy();
        Execute(copy, sql);
        return copy;
    }

    /// <summary>Runs SQL past the guards, which whoever holds the file can take off.</summary>
    private static void Execute(string folder, string sql)
    {
        using var connection = new SqliteConnection($"Data Source={Path.Combine(folder, "ledger.db")};Pooling=False");
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = "DROP TRIGGER IF EXISTS event_no_update; DROP TRIGGER IF EXISTS event_no_delete; DROP TRIGGER IF EXISTS node_no_update; DROP TRIGGER IF EXISTS node_no_delete; " + sql;
        command.ExecuteNonQuery();
    }

    private static Ledger Open(string folder) => Ledger.Open(new LedgerPlace(folder), new TestClock { Now = new DateTimeOffset(2026, 3, 3, 0, 0, 0, TimeSpan.Zero) }, keyIterations: LedgerStory.KeyIterations);

    private static IReadOnlyList<LedgerFailure> Failures(string folder, IReadOnlyList<WitnessedHead>? witness = null)
    {
        try
        {
            using var ledger = Open(folder);
            return LedgerChecks.Full(ledger, witness ?? [], RunContext.Default).Failures;
        }
        catch (LedgerRefusedException e)
        {
            return [new LedgerFailure(e.Code, "opening", "a ledger that opens", e.Message)];
        }
    }
}
