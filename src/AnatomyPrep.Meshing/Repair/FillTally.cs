using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>What <see cref="FillHoles"/> did, hole by hole.</summary>
internal sealed class FillTally(int loops, bool leaveCrossing)
{
    private readonly List<Finding> _open = [];
    private double _farthestMm;
    private double _largestMm2;
    private BoundaryLoop? _largest;
    private int _plainer;
    private int _crossing;

    public int Filled { get; private set; }

    public double AreaMm2 { get; private set; }

    public void Add(Mesh mesh, BoundaryLoop loop, HolePatch? patch, FillMethod wanted)
    {
        if (patch is null || (leaveCrossing && patch.Contacts > 0))
        {
            var why = patch is not null ? "every fill that was tried would run into the surface"
                : loop.IsClosed ? "its rim can only be closed by doubling an edge of the surface"
                : "its rim breaks off at a non-manifold or turned triangle";
            _open.Add(new(
                FindingCodes.HoleNotFilled,
                Severity.Caution,
                string.Create(CultureInfo.InvariantCulture, $"Hole {loop.Id} ({loop.EdgeCount} edges, {loop.DiameterMm:G4} mm wide) was not filled: {why}."),
                "Repair the topology first, or remove the place and fill what is left.",
                new Place(PositionMm: loop.CenterMm)));
            return;
        }

        if (patch.Contacts > 0)
        {
            _crossing++;
            _open.Add(new(
                FindingCodes.FillCrosses,
                Severity.Caution,
                string.Create(CultureInfo.InvariantCulture, $"The fill of hole {loop.Id} ({loop.EdgeCount} edges, {loop.DiameterMm:G4} mm wide) meets the surface in {patch.Contacts} pairs of triangles, and so does every other fill that was tried."),
                "Remove self-intersections, or remove what reaches into the hole and fill again.",
                new Place(PositionMm: loop.CenterMm)));
        }

        Filled++;
        _plainer += wanted == FillMethod.Smooth && patch.Shape == PatchShape.Flat && patch.Rim.Length > 3 ? 1 : 0;
        var area = patch.AreaMm2(mesh);
        AreaMm2 += area;
        _farthestMm = Math.Max(_farthestMm, patch.FarthestFromRimMm(mesh));
        if (area > _largestMm2)
            (_largest, _largestMm2) = (loop, area);
    }

    public Dictionary<string, double> Measures() => new()
    {
        ["holesFound"] = loops,
        ["holesFilled"] = Filled,
        ["holesLeft"] = loops - Filled,
        ["filledAreaMm2"] = AreaMm2,
        ["farthestFromRimMm"] = _farthestMm,
        ["holesFilledFlatInstead"] = _plainer,
        ["fillsThatCross"] = _crossing,
    };

    public IReadOnlyList<Finding> Findings()
    {
        if (Filled == 0)
            return _open;
        var filled = new Finding(
            FindingCodes.HolesFilled,
            Severity.Note,
            string.Create(CultureInfo.InvariantCulture, $"{Filled} holes were filled with {AreaMm2:G6} mm2; the farthest filled point is {_farthestMm:G4} mm from measured surface, the largest fill has {_largestMm2:G6} mm2."),
            "Filled surface was not measured: judge it apart (origin filled).",
            _largest is null ? null : new Place(PositionMm: _largest.CenterMm));
        return [filled, .. _open];
    }
}
