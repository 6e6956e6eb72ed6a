using System.Globalization;
using System.Text.Json;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Inspections;

/// <summary>An addition to a record, as it was read.</summary>
/// <param name="Sha256">Of its envelope: what the next addition, and a ledger, name it by.</param>
/// <param name="SignerKeyId">Null when no signature holds.</param>
public sealed record Addition(int Number, string Sha256, string? SignerKeyId, InspectionFacts Inspection);

/// <summary>Checks what was added to a record, as strictly as the record itself.</summary>
/// <remarks>
/// Numbers follow each other from 1; each addition is signed, names this record.json by hash and the addition before by hash, and
///   its folder holds its files and nothing else. The outcome and every figure that follows from readings is computed again.
/// </remarks>
internal static class AdditionVerifier
{
    public static (IReadOnlyList<RecordCheck> Checks, IReadOnlyList<Addition> Additions) Verify(
        string folder, string recordName, RunStatement record, IReadOnlyList<VerificationKey> trusted, RunContext run)
    {
        var checks = new List<RecordCheck>();
        var additions = new List<Addition>();
        var below = Path.Combine(folder, AdditionFiles.Folder);
        if (new DirectoryInfo(below) is not { Exists: true, LinkTarget: null })
            return (checks, additions);
        var files = FolderFiles.List(folder).Where(f => AdditionFiles.IsAddition(f.Name)).ToList();
        var recordSha256 = SignedFiles.TryHash(Path.Combine(folder, recordName), run)?.Sha256 ?? "not readable";
        foreach (var (name, _) in files.Where(f => AdditionFiles.NumberOf(f.Name) is null))
            checks.Add(new(name, RecordChecks.Expected, false, "only folders of additions, numbered from 0001", "a file in the folder"));
        var last = files.Select(f => AdditionFiles.NumberOf(f.Name) ?? 0).DefaultIfEmpty().Max();
        string? previous = null;
        foreach (var number in Numbers(files, last))
        {
            var place = AdditionFiles.FolderOf(number) + "/";
            var own = files.Where(f => f.Name.StartsWith(place, StringComparison.Ordinal)).ToDictionary(f => f.Name[place.Length..], f => f.IsLink, StringComparer.Ordinal);
            if (own.Count == 0)
            {
                checks.Add(new(place.TrimEnd('/'), RecordChecks.Present, false, $"an addition, as there is a number {last.ToString(CultureInfo.InvariantCulture)}", "nothing"));
                continue;
            }

            var path = Path.Combine(folder, place);
            var signed = new SignedFiles(path, place, AdditionFiles.Addition, AdditionFiles.PublicKey, run);
            signed.CheckSignature(trusted);
            var sha256 = SignedFiles.TryHash(Path.Combine(path, AdditionFiles.Addition), run)?.Sha256;
            if (signed.ReadStatement(bytes => AdditionStatement.Parse(bytes)) is { } statement)
            {
                var predicate = StatementJson.Predicate(signed.Payload);
                CheckStatement(signed, statement, predicate, new(record.Run.RunId, recordSha256), number, previous);
                CheckFiles(signed, statement, predicate, own);
                additions.Add(new(number, sha256!, signed.SignerKeyId, statement.Inspection));
            }

            checks.AddRange(signed.Checks);
            previous = sha256;
        }

        return (checks, additions);
    }

    /// <summary>Those that are there, and the gaps between them: of a long gap the first only, so that a name cannot make many checks.</summary>
    private static IEnumerable<int> Numbers(List<FolderFiles.Entry> files, int last)
    {
        var there = files.Select(f => AdditionFiles.NumberOf(f.Name)).OfType<int>().Distinct().Order().ToList();
        var next = 1;
        foreach (var number in there)
        {
            if (number != next)
                yield return next;
            yield return number;
            next = number + 1;
        }
    }

    private static void CheckStatement(SignedFiles signed, AdditionStatement statement, JsonObject predicate, RecordReference record, int number, string? previous)
    {
        var facts = statement.Inspection;
        signed.Expect(AdditionFiles.Addition, "number", RecordChecks.Chain, Text(number), Text(facts.Number));
        signed.Expect(AdditionFiles.Addition, "run", RecordChecks.Chain, record.RunId, facts.Record.RunId);
        signed.Expect(AdditionFiles.Addition, "record.json", RecordChecks.Chain, record.RecordSha256, facts.Record.RecordSha256);
        signed.Expect(AdditionFiles.Addition, "addition before", RecordChecks.Chain, previous ?? "none", facts.PreviousSha256 ?? "none");
        signed.Computed("warning", EducationAndPlanning.Warning, predicate["warning"]);
        signed.Expect(AdditionFiles.Addition, "passed", RecordChecks.Computed, facts.Passes() ? "true" : "false", facts.Passed ? "true" : "false");
        if (facts.Caliper is { } caliper)
            CheckCaliper(signed, caliper, predicate);
    }

    /// <summary>Everything that follows from the readings, computed again.</summary>
    private static void CheckCaliper(SignedFiles signed, CaliperFacts caliper, JsonObject predicate)
    {
        var again = RecordJson.ToNode(CaliperFacts.Of(caliper.Sheet, caliper.Instrument, caliper.CalibratedUntil, caliper.Distances));
        foreach (var field in (string[])["agreement", "readingSdMm", "scales"])
        {
            var difference = JsonDifference.First(again[field], predicate["caliper"]?[field]);
            signed.Add(
                $"{AdditionFiles.Addition} caliper.{field}", RecordChecks.Computed, difference is null,
                difference?.Expected ?? "as the readings give", difference?.Found ?? "as the readings give");
        }
    }

    private static void CheckFiles(SignedFiles signed, AdditionStatement statement, JsonObject predicate, Dictionary<string, bool> own)
    {
        signed.CheckSubjects(statement.Subjects, own);
        var known = statement.Subjects.Select(s => s.Name).ToHashSet(StringComparer.Ordinal);
        foreach (var name in own.Keys.Where(n => !AdditionFiles.IsOutsideStatement(n) && !known.Contains(n)))
            signed.Add(name, RecordChecks.Expected, false, "no such file in the addition", "a file in the folder");
        signed.CheckLaidOut(AdditionFiles.Inspection, predicate, statement.Subjects, own);
    }

    private static string Text(int number) => number.ToString(CultureInfo.InvariantCulture);
}
