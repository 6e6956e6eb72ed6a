using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>Which pieces of a mesh to keep. A piece must pass every limit; 0 sets no limit.</summary>
/// <param name="KeepLargest">Number of pieces to keep, largest area first (the earlier triangle where equal).</param>
/// <param name="MinimumAreaMm2">Area of the outer shell, cavities not counted.</param>
/// <param name="MinimumVolumeMm3">Enclosed volume of the outer shell, cavities not taken off; open pieces have none and are not judged by it.</param>
/// <param name="MinimumTriangles">Triangles of the outer shell.</param>
/// <param name="MinimumCavityVolumeMm3">Smaller cavities are filled: their wall is dropped, so the material closes over.</param>
/// <param name="FillAllCavities">Drop the wall of every cavity.</param>
/// <param name="MinimumAreaShare">Area of the outer shell over that of the largest piece; a limit that goes by no unit and always leaves one.</param>
public sealed record DropFragmentsParameters(
    int KeepLargest = 0,
    double MinimumAreaMm2 = 0,
    double MinimumVolumeMm3 = 0,
    int MinimumTriangles = 0,
    double MinimumCavityVolumeMm3 = 0,
    bool FillAllCavities = false,
    double MinimumAreaShare = 0);

/// <summary>Drops whole pieces of a mesh: fragments by count or size, and small cavities inside the pieces that stay.</summary>
/// <remarks>
/// A piece is what hangs together by shared vertices. A closed piece that faces inward and lies inside a closed outward
/// one is a cavity of the smallest such shell: it stays or goes with it and is never counted as a fragment. A closed
/// inward piece that lies in no shell is a piece turned inside out and is judged like any other.
/// Kept triangles keep their order, their origin and the bytes of their vertices.
/// When nothing would be left the input comes back with a stop finding.
/// O(triangles · log triangles); peak: about 40 bytes a triangle beside the output (edge table), 110 where there are cavities (search tree).
/// </remarks>
public static class DropFragments
{
    private const string Step = "drop fragments";

    public static RepairResult Apply(Mesh mesh, DropFragmentsParameters parameters, RunContext run)
    {
        Check(parameters);
        run.Report(Step, "find pieces", 0);
        var pieces = Pieces.Find(mesh, run);
        run.Report(Step, "nest cavities", 0.5);
        var shellOfCavity = pieces.FindShellsOfCavities(mesh, run);
        var keepPiece = ChooseShells(pieces.All, shellOfCavity, parameters);
        var sorted = new Tally();
        for (var p = 0; p < keepPiece.Length; p++)
        {
            if (shellOfCavity[p] >= 0)
                KeepOrFill(p, pieces.All[p], keepPiece[shellOfCavity[p]], parameters, keepPiece, sorted);
            else if (keepPiece[p])
                sorted.Kept++;
            else
                sorted.Drop(p, pieces.All[p]);
        }

        if (mesh.TriangleCount > 0 && sorted.Kept == 0)
            return RepairResult.Unchanged(mesh, run, [NothingLeft(pieces.All)]);
        var keep = new bool[mesh.TriangleCount];
        for (var t = 0; t < keep.Length; t++)
            keep[t] = keepPiece[pieces.PieceOfTriangle[t]];
        var after = MeshSubset.Keep(mesh, keep);
        return RepairResult.Changed(
            mesh, after, sorted.DroppedAreaMm2 + sorted.FilledAreaMm2, default, run, sorted.Measures(), sorted.Findings(mesh, pieces.All));
    }

    private static void Check(DropFragmentsParameters parameters)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.KeepLargest);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MinimumAreaMm2);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MinimumVolumeMm3);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MinimumTriangles);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MinimumCavityVolumeMm3);
        ArgumentOutOfRangeException.ThrowIfNegative(parameters.MinimumAreaShare);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(parameters.MinimumAreaShare, 1);
    }

    private static bool[] ChooseShells(IReadOnlyList<Piece> pieces, int[] shellOfCavity, DropFragmentsParameters parameters)
    {
        var keep = new bool[pieces.Count];
        double largest = 0;
        for (var p = 0; p < pieces.Count; p++)
            if (shellOfCavity[p] < 0)
                largest = Math.Max(largest, pieces[p].AreaMm2);
        for (var p = 0; p < pieces.Count; p++)
        {
            keep[p] = shellOfCavity[p] < 0
                && pieces[p].AreaMm2 >= parameters.MinimumAreaMm2
                && pieces[p].AreaMm2 >= parameters.MinimumAreaShare * largest
                && (!pieces[p].IsClosed || pieces[p].VolumeMm3 >= parameters.MinimumVolumeMm3)
                && pieces[p].Triangles >= parameters.MinimumTriangles;
        }

        if (parameters.KeepLargest == 0)
            return keep;
        var ranked = Enumerable.Range(0, pieces.Count).Where(p => keep[p]).OrderByDescending(p => pieces[p].AreaMm2).ThenBy(p => p);
        foreach (var p in ranked.Skip(parameters.KeepLargest))
            keep[p] = false;
        return keep;
    }

    private static void KeepOrFill(int p, Piece cavity, bool shellStays, DropFragmentsParameters parameters, bool[] keepPiece, Tally sorted)
    {
        if (!shellStays)
        {
            sorted.DroppedAreaMm2 += cavity.AreaMm2;
            return;
        }

        keepPiece[p] = !parameters.FillAllCavities && cavity.VolumeMm3 >= parameters.MinimumCavityVolumeMm3;
        if (keepPiece[p])
            sorted.Cavities++;
        else
            sorted.Fill(p, cavity);
    }

    private static Finding NothingLeft(IReadOnlyList<Piece> pieces)
    {
        var largest = pieces.MaxBy(p => p.AreaMm2);
        return new(
            FindingCodes.NothingLeft,
            Severity.Stop,
            string.Create(CultureInfo.InvariantCulture, $"Every one of {pieces.Count} pieces is under the limits; the largest has {largest.AreaMm2:G6} mm2, {largest.VolumeMm3:G6} mm3 and {largest.Triangles} triangles."),
            "Lower the limits, or check the unit of the mesh.");
    }

    private sealed class Tally
    {
        private int _dropped;
        private int _filled;
        private double _droppedVolumeMm3;
        private double _filledVolumeMm3;
        private int _largestDropped = -1;
        private int _largestFilled = -1;
        private double _largestDroppedMm2 = -1;
        private double _largestFilledMm3 = -1;

        public int Kept { get; set; }

        public int Cavities { get; set; }

        public double DroppedAreaMm2 { get; set; }

        public double FilledAreaMm2 { get; private set; }

        public void Drop(int p, Piece piece)
        {
            _dropped++;
            DroppedAreaMm2 += piece.AreaMm2;
            _droppedVolumeMm3 += piece.VolumeMm3;
            if (piece.AreaMm2 > _largestDroppedMm2)
                (_largestDropped, _largestDroppedMm2) = (p, piece.AreaMm2);
        }

        public void Fill(int p, Piece cavity)
        {
            _filled++;
            FilledAreaMm2 += cavity.AreaMm2;
            _filledVolumeMm3 += cavity.VolumeMm3;
            if (cavity.VolumeMm3 > _largestFilledMm3)
                (_largestFilled, _largestFilledMm3) = (p, cavity.VolumeMm3);
        }

        public Dictionary<string, double> Measures() => new()
        {
            ["piecesKept"] = Kept,
            ["fragmentsDropped"] = _dropped,
            ["fragmentAreaMm2"] = DroppedAreaMm2,
            ["cavitiesKept"] = Cavities,
            ["cavitiesFilled"] = _filled,
            ["cavityVolumeFilledMm3"] = _filledVolumeMm3,
        };

        public List<Finding> Findings(Mesh mesh, IReadOnlyList<Piece> pieces)
        {
            var findings = new List<Finding>();
            if (_dropped > 0)
            {
                findings.Add(new(
                    FindingCodes.FragmentsDropped,
                    Severity.Note,
                    string.Create(CultureInfo.InvariantCulture, $"{_dropped} fragments were dropped, {DroppedAreaMm2:G6} mm2 and {_droppedVolumeMm3:G6} mm3 together; the largest has {_largestDroppedMm2:G6} mm2."),
                    "Look at the place of the largest; lower the limits if it belongs to the model.",
                    At(mesh, pieces[_largestDropped])));
            }

            if (_filled > 0)
            {
                findings.Add(new(
                    FindingCodes.CavitiesFilled,
                    Severity.Note,
                    string.Create(CultureInfo.InvariantCulture, $"{_filled} cavities were filled, {_filledVolumeMm3:G6} mm3 together; the largest had {_largestFilledMm3:G6} mm3."),
                    "Lower the cavity limit if the hollow belongs to the model.",
                    At(mesh, pieces[_largestFilled])));
            }

            return findings;
        }

        private static Place At(Mesh mesh, Piece piece) => new(PositionMm: mesh.Vertex(piece.TopVertex), FirstTriangle: piece.FirstTriangle, TriangleCount: piece.Triangles);
    }
}
