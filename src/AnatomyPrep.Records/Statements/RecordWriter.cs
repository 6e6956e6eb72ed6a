using System.Text;
using System.Text.Json;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Records.Statements;

/// <summary>Closes a folder of artifacts with its record.</summary>
public static class RecordWriter
{
    /// <summary>Writes run.json, hashes every file of the folder, signs, and writes record.json and record.pub.pem.</summary>
    /// <param name="folder">
    /// Holds all artifacts, the report included, and nothing else. Not yet published: the caller renames it when this returns.
    /// </param>
    /// <returns>The statement that was signed.</returns>
    /// <exception cref="ArgumentException">The folder holds a link or a name that cannot stand in a record, or a number is not finite.</exception>
    public static RunStatement Write(string folder, RunFacts facts, SigningKey key, RunContext run)
    {
        File.WriteAllBytes(Path.Combine(folder, RecordFiles.Run), RunFile(facts));
        var payload = new RunStatement(HashAll(folder, run), facts).ToBytes();
        // What cannot be read back must not be signed.
        var statement = RunStatement.Parse(payload);
        var envelope = Dsse.Sign(Dsse.InTotoPayloadType, payload, key);
        File.WriteAllText(Path.Combine(folder, RecordFiles.PublicKey), key.PublicPem);
        File.WriteAllBytes(Path.Combine(folder, RecordFiles.Record), envelope.ToBytes());
        return statement;
    }

    /// <summary>The bytes of run.json.</summary>
    public static byte[] RunFile(RunFacts facts) =>
        Encoding.UTF8.GetBytes(JsonSerializer.Serialize(facts, RecordJson.Indented) + "\n");

    private static Subject[] HashAll(string folder, RunContext run)
    {
        var names = FolderFiles.List(folder).Where(f => !RecordFiles.IsOutsideStatement(f.Name)).ToList();
        foreach (var (name, isLink) in names)
            if (isLink || !StatementJson.IsSafeName(name))
                throw new ArgumentException($"The artifact {name} is a link or has a name that cannot stand in a record.", nameof(folder));
        var hashes = FolderFiles.HashAll(folder, [.. names.Select(n => n.Name)], run);
        return [.. names.Zip(hashes, (n, h) => new Subject(n.Name, h.Sha256, h.Bytes))];
    }
}
