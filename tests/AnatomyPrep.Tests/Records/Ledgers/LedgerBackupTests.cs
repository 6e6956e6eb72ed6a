using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Ledgers;
using AnatomyPrep.Records.Ledgers.Backups;
using AnatomyPrep.Records.Ledgers.Checks;
using AnatomyPrep.Records.Ledgers.Events;
using AnatomyPrep.Records.Ledgers.Storage;
using Microsoft.Data.Sqlite;

namespace AnatomyPrep.Tests.Records.Ledgers;

/// <summary>Copies of a whole ledger, older schemas, and what a redaction leaves on the disk.</summary>
public sealed class LedgerBackupTests : IDisposable
{
    private readonly TestFolder _folder = new();
    private readonly LedgerStory _story;

    public LedgerBackupTests()
    {
        _story = LedgerStory.Begin(new LedgerPlace(_folder["ledger"]));
        LedgerTests.TellAll(_story);
    }

    public void Dispose()
    {
        _story.Dispose();
        _folder.Dispose();
    }

    [Fact]
    public void Restored_ledger_has_the_same_tree_and_says_that_it_was_restored()
    {
        _story.Ledger.Seal("S-1", "words");
        var head = LedgerBackup.Write(_story.Ledger, _folder["backup"]);
        _story.Ledger.Event(head.Size)!.Content.Kind.Should().Be(LedgerEventKind.Backup);
        using var restored = Restore("restored");
        restored.Id.Should().Be(_story.Ledger.Id);
        restored.Root(head.Size).Should().Equal(Convert.FromHexString(head.Root));
        restored.Event(head.Size)!.Content.Kind.Should().Be(LedgerEventKind.BackupRestored);
        LedgerChecks.Full(restored, [], RunContext.Default).Failures.Should().BeEmpty();
        restored.Model("M-1/1").Should().BeEquivalentTo(_story.Ledger.Model("M-1/1"));
    }

    [Fact]
    public void Events_lost_by_restoring_an_old_backup_are_seen_by_the_witness()
    {
        LedgerBackup.Write(_story.Ledger, _folder["backup"]);
        _story.Prepare("M-8/1");
        Witness.CopyTo(_story.Ledger, _folder["witness"]);
        using var restored = Restore("restored");
        LedgerChecks.Full(restored, Witness.Load(_folder["witness"]), RunContext.Default).Failures.Should().ContainSingle().Which.Code.Should().Be(LedgerFailures.RolledBack);
    }

    [Fact]
    public void Redacted_subject_stays_redacted_and_its_key_is_not_in_the_file_any_more()
    {
        var words = _story.Ledger.Seal("S-1", "Mrs Example");
        _story.Ledger.Append(_story.Ledger.Sign(new EventDraft(LedgerEventKind.Complaint, new ComplaintBody("a crack"), ["M-1/1"], Personal: words), "cora", _story.Key("cora")));
        var key = _story.Ledger.Locked(s => s.SubjectKey("S-1"))!;
        _story.Ledger.Locked(s =>
        {
            s.Settle();
            return 0;
        });
        FilesHold(key).Should().BeTrue("or the test would see nothing");
        _story.Do("quinn", LedgerEventKind.Redaction, new RedactionBody("S-1"), reason: "Asked for.");
        FilesHold(key).Should().BeFalse();
        LedgerBackup.Write(_story.Ledger, _folder["backup"]);
        using var restored = Restore("restored");
        restored.Unseal(words).Should().BeNull();
        LedgerChecks.Full(restored, [], RunContext.Default).Failures.Should().BeEmpty();
    }

    [Fact]
    public void Backup_that_is_there_already_stays_and_the_second_is_no_event()
    {
        Directory.CreateDirectory(_folder["backups"]);
        LedgerBackup.Write(_story.Ledger, _folder["backups/one"]);
        var (bytes, size) = (File.ReadAllBytes(_folder["backups/one"]), _story.Ledger.Size());
        FluentActions.Invoking(() => LedgerBackup.Write(_story.Ledger, _folder["backups/one"])).Should().Throw<IOException>();
        File.ReadAllBytes(_folder["backups/one"]).Should().Equal(bytes);
        Directory.GetFiles(_folder["backups"]).Should().ContainSingle("nothing is left aside");
        _story.Ledger.Size().Should().Be(size);
    }

    [Fact]
    public void Damaged_or_cut_backup_is_refused()
    {
        LedgerBackup.Write(_story.Ledger, _folder["backup"]);
        var lines = File.ReadAllLines(_folder["backup"]);
        foreach (var (name, changed) in new (string, IEnumerable<string>)[]
        {
            ("cut", lines[..^2]),
            ("swapped", [.. lines[..5], lines[6], lines[5], .. lines[7..]]),
            ("doubled", [.. lines[..6], lines[5], .. lines[6..^1]]),
            ("flipped", [.. lines[..5], lines[5].Replace("\"sig\":\"ME", "\"sig\":\"MF", StringComparison.Ordinal), .. lines[6..]]),
        })
        {
            File.WriteAllLines(_folder["backup"], changed);
            FluentActions.Invoking(() => Restore(name)).Should().Throw<Exception>(name).Which.Should().Match(e => e is CheckFailedException || e is LedgerRefusedException);
        }
    }

    [Fact]
    public void Older_schema_is_named_and_upgraded_with_an_event_and_a_newer_one_is_refused()
    {
        var place = _story.Ledger.Place;
        var size = _story.Ledger.Size();
        _story.Ledger.Dispose();
        // Version 1 as it was: without the column, the indexes and the table of version 2.
        Execute("DROP INDEX model_retain_until; DROP INDEX model_sole; DROP TABLE stamp; ALTER TABLE model DROP COLUMN retain_until; UPDATE ledger SET schema = 1");
        LedgerTests.Refused(() => Ledger.Open(place, _story.Clock), Refusals.SchemaOlder);
        using (var upgraded = Ledger.Upgrade(place, "ada", LedgerStory.Passphrase, _story.Clock, LedgerStory.KeyIterations))
        {
            upgraded.Size().Should().Be(size + 1);
            upgraded.Event(size)!.Content.Read<SchemaUpgradeBody>().Should().Be(new SchemaUpgradeBody(1, 2));
            LedgerChecks.Full(upgraded, [], RunContext.Default).Failures.Should().BeEmpty();
        }

        LedgerTests.Refused(() => Ledger.Upgrade(place, "ada", LedgerStory.Passphrase, _story.Clock, LedgerStory.KeyIterations), Refusals.SchemaNewer);
        Execute("UPDATE ledger SET schema = 3");
        LedgerTests.Refused(() => Ledger.Open(place, _story.Clock), Refusals.SchemaNewer);
        Execute("UPDATE ledger SET schema = 2");
        _story.Reopen();
    }

    private bool FilesHold(byte[] key) =>
        Directory.GetFiles(_folder["ledger"]).Any(f => File.ReadAllBytes(f).AsSpan().IndexOf(key) >= 0);

    private Ledger Restore(string name)
    {
        Directory.CreateDirectory(_folder[name]);
        Tool.Run(_folder.Path, "cp", "-a", Path.Combine("ledger", "keys"), Path.Combine(name, "keys")).ExitCode.Should().Be(0);
        return LedgerBackup.Restore(new LedgerPlace(_folder[name]), _folder["backup"], "ada", LedgerStory.Passphrase, _story.Clock, LedgerStory.KeyIterations);
    }

    private void Execute(string sql)
    {
        using var connection = new SqliteConnection($"Data Source={Path.Combine(_folder["ledger"], "ledger.db")};Pooling=False");
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = sql;
        command.ExecuteNonQuery();
    }
}
