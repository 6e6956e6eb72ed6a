using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Adds up what the steps of <see cref="CleanScan"/> did and found.</summary>
internal sealed class CleanLog
{
    private readonly List<(string Stage, RepairResult Result)> _taken = [];

    public Finding? Stop => _taken.SelectMany(t => t.Result.Findings).FirstOrDefault(f => f.Severity == Severity.Stop);

    public double ChangedAreaMm2 => _taken.Sum(t => t.Result.Effect.ChangedAreaMm2 ?? 0);

    /// <summary>Mean of means weighted by changed area, largest of the largest.</summary>
    public DistanceTally Displacement
    {
        get
        {
            double weighted = 0, largest = 0;
            foreach (var (_, result) in _taken)
            {
                weighted += (result.Effect.MeanDisplacementMm ?? 0) * (result.Effect.ChangedAreaMm2 ?? 0);
                largest = Math.Max(largest, result.Effect.MaxDisplacementMm ?? 0);
            }

            return new(1, ChangedAreaMm2 > 0 ? weighted / ChangedAreaMm2 : 0, largest);
        }
    }

    public Mesh Take(RepairResult result, string stage)
    {
        _taken.Add((stage, result));
        return result.Mesh;
    }

    public int Mark() => _taken.Count;

    public void BackTo(int mark) => _taken.RemoveRange(mark, _taken.Count - mark);

    /// <summary>Sums of the steps' figures; names that count what was found before or is left after keep the first and the last value.</summary>
    public Dictionary<string, double> Measures()
    {
        var sums = new Dictionary<string, double>();
        foreach (var (name, value) in _taken.SelectMany(t => t.Result.Effect.Measures ?? new Dictionary<string, double>()))
        {
            if (name.EndsWith("Mm", StringComparison.Ordinal))
                sums[name] = Math.Max(sums.GetValueOrDefault(name), value);
            else if (name.EndsWith("Before", StringComparison.Ordinal))
                sums.TryAdd(name, value);
            else if (name.EndsWith("After", StringComparison.Ordinal) || name.EndsWith("Left", StringComparison.Ordinal) || name == "meetingPairsBetweenPieces")
                sums[name] = value;
            else
                sums[name] = sums.GetValueOrDefault(name) + value;
        }

        return sums;
    }

    /// <summary>What was done, in order; what is left only as the last step of its kind found it.</summary>
    public IEnumerable<Finding> Findings()
    {
        for (var i = 0; i < _taken.Count; i++)
        {
            var (stage, result) = _taken[i];
            var isLast = !_taken.Skip(i + 1).Any(t => t.Stage == stage);
            foreach (var finding in result.Findings)
                if (isLast || !IsLeftOver(finding.Code))
                    yield return finding;
        }
    }

    private static bool IsLeftOver(string code) =>
        code is FindingCodes.DegenerateKept or FindingCodes.HoleNotFilled or FindingCodes.PiecesCross or FindingCodes.SelfIntersectionKept;
}
