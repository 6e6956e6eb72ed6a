using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Inspections;

/// <summary>A file of an addition.</summary>
public sealed record AdditionFile(string Name, byte[] Bytes);

/// <summary>Adds a signed inspection to the folder of a run, whose own files stay as they are.</summary>
/// <remarks>
/// Written beside the folder of the run and moved in with one rename, so that a part never looks like a whole; of two that take
///   the same number at once, the second fails. Each addition names the hash of the one before: one cannot be taken away or put in
///   between without those after it showing it. That the last was taken away, only something outside the folder can show, such as a ledger.
/// </remarks>
public static class AdditionWriter
{
    /// <param name="verified">What a check of the folder said just before.</param>
    /// <param name="inspection">Number, record and previous are filled in here.</param>
    /// <returns>What was added.</returns>
    /// <exception cref="CheckFailedException">The folder does not hold.</exception>
    /// <exception cref="IOException">Somebody else added at the same time, or the folder cannot be written.</exception>
    public static Addition Write(string runFolder, VerificationReport verified, InspectionFacts inspection, IReadOnlyList<AdditionFile> files, SigningKey key)
    {
        var statement = verified.Require();
        var folder = Path.TrimEndingDirectorySeparator(Path.GetFullPath(runFolder));
        var facts = inspection with
        {
            Number = verified.Additions.Count + 1,
            Record = new(statement.Run.RunId, Hash(File.ReadAllBytes(Path.Combine(folder, RecordFiles.Record)))),
            PreviousSha256 = verified.Additions.Count > 0 ? verified.Additions[^1].Sha256 : null,
        };
        var aside = Path.Combine(Path.GetDirectoryName(folder)!, $".{Path.GetFileName(folder)}.unfinished-addition-{Environment.ProcessId}");
        try
        {
            Directory.CreateDirectory(aside);
            var envelope = Fill(aside, facts, files, key);
            var final = Path.Combine(folder, AdditionFiles.FolderOf(facts.Number));
            Directory.CreateDirectory(Path.GetDirectoryName(final)!);
            if (Path.Exists(final))
                throw new IOException($"{AdditionFiles.FolderOf(facts.Number)} is there already: somebody else added to this record. Inspect again.");
            Directory.Move(aside, final);
            return new(facts.Number, Hash(envelope), key.KeyId, facts);
        }
        finally
        {
            if (Directory.Exists(aside))
                Directory.Delete(aside, recursive: true);
        }
    }

    /// <summary>The bytes of inspection.json.</summary>
    public static byte[] InspectionFile(InspectionFacts facts) => Encoding.UTF8.GetBytes(JsonSerializer.Serialize(facts, RecordJson.Indented) + "\n");

    private static byte[] Fill(string folder, InspectionFacts facts, IReadOnlyList<AdditionFile> files, SigningKey key)
    {
        AdditionFile[] all = [.. files, new(AdditionFiles.Inspection, InspectionFile(facts))];
        foreach (var file in all)
        {
            if (!StatementJson.IsSafeName(file.Name) || file.Name.Contains('/', StringComparison.Ordinal) || AdditionFiles.IsOutsideStatement(file.Name))
                throw new ArgumentException($"The file {file.Name} has a name that cannot stand in an addition.", nameof(files));
            File.WriteAllBytes(Path.Combine(folder, file.Name), file.Bytes);
        }

        var payload = new AdditionStatement([.. all.Select(f => new Subject(f.Name, Hash(f.Bytes), f.Bytes.Length))], facts).ToBytes();
        // What cannot be read back must not be signed.
        AdditionStatement.Parse(payload);
        var envelope = Dsse.Sign(Dsse.InTotoPayloadType, payload, key).ToBytes();
        File.WriteAllText(Path.Combine(folder, AdditionFiles.PublicKey), key.PublicPem);
        File.WriteAllBytes(Path.Combine(folder, AdditionFiles.Addition), envelope);
        return envelope;
    }

    private static string Hash(byte[] bytes) => Convert.ToHexStringLower(SHA256.HashData(bytes));
}
