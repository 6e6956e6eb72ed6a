using System.Security.Cryptography;
using System.Text;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Records.Statements;

/// <summary>What the square code on report and label says: which run, and the hash of everything its record vouches for.</summary>
/// <remarks>
/// Report and label are themselves files of the record, so they cannot hold the hash of all of it. The hash here is over every other file, run.json
///   included, which holds all facts of the record: SHA-256 of the lines that sha256sum prints for them (64 hex digits, two
///   spaces, name, line feed), in ordinal order of the names.
/// </remarks>
public sealed record RunCode(string RunId, string FilesSha256)
{
    public const string Prefix = "anatomyprep-run:";

    /// <summary>As the square holds it.</summary>
    public string Text => $"{Prefix}{RunId}:{FilesSha256}";

    /// <summary>Of a folder that holds everything but papers and record; run.json may be absent and counts as it will be.</summary>
    public static RunCode Of(string folder, RunFacts facts, RunContext run)
    {
        var names = FolderFiles.List(folder).Select(f => f.Name).Where(n => Counts(n) && n != RecordFiles.Run).ToArray();
        var hashes = new SortedDictionary<string, string>(StringComparer.Ordinal) { [RecordFiles.Run] = Convert.ToHexStringLower(SHA256.HashData(RecordWriter.RunFile(facts))) };
        foreach (var (name, hash) in names.Zip(FolderFiles.HashAll(folder, names, run)))
            hashes[name] = hash.Sha256;
        return new(facts.RunId, Hash(hashes.Select(h => (h.Key, h.Value))));
    }

    /// <summary>Of a record, from the hashes it signs.</summary>
    public static RunCode Of(RunStatement statement) => new(
        statement.Run.RunId,
        Hash(statement.Subjects.Where(s => Counts(s.Name)).OrderBy(s => s.Name, StringComparer.Ordinal).Select(s => (s.Name, s.Sha256))));

    private static bool Counts(string name) => !RecordFiles.IsOutsideStatement(name) && name is not (RecordFiles.Report or RecordFiles.Label);

    private static string Hash(IEnumerable<(string Name, string Sha256)> files) =>
        Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(string.Concat(files.Select(f => $"{f.Sha256}  {f.Name}\n")))));
}
