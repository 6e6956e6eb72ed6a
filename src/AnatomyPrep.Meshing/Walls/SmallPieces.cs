using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Meshing.Walls;

/// <param name="PiecesLeft">Closed pieces that face outward.</param>
internal readonly record struct DroppedPieces(int PiecesLeft, int Pieces, double PiecesMm3, int Voids, double VoidsMm3);

/// <summary>Drops closed pieces of too little volume: specks of material, and voids, which are filled by that.</summary>
internal static class SmallPieces
{
    public static Mesh Drop(Mesh mesh, double minimumMm3, RunContext run, out DroppedPieces dropped) =>
        MeshSubset.Keep(mesh, Keep(mesh, minimumMm3, run, out dropped));

    /// <summary>The triangles that stay.</summary>
    public static bool[] Keep(Mesh mesh, double minimumMm3, RunContext run, out DroppedPieces dropped)
    {
        var pieces = Pieces.Find(mesh, run);
        int left = 0, specks = 0, voids = 0;
        double specksMm3 = 0, voidsMm3 = 0;
        foreach (var piece in pieces.All)
        {
            if (piece.VolumeMm3 >= minimumMm3)
            {
                left += piece.FacesInward ? 0 : 1;
            }
            else if (piece.FacesInward)
            {
                voids++;
                voidsMm3 += piece.VolumeMm3;
            }
            else
            {
                specks++;
                specksMm3 += piece.VolumeMm3;
            }
        }

        var keep = new bool[mesh.TriangleCount];
        for (var t = 0; t < keep.Length; t++)
            keep[t] = pieces.All[pieces.PieceOfTriangle[t]].VolumeMm3 >= minimumMm3;
        dropped = new(left, specks, specksMm3, voids, voidsMm3);
        return keep;
    }

    /// <summary>Closed pieces that face outward.</summary>
    public static int Count(Mesh mesh, RunContext run) => Pieces.Find(mesh, run).All.Count(p => !p.FacesInward);

    public static List<Finding> Findings(in DroppedPieces dropped)
    {
        var findings = new List<Finding>();
        if (dropped.Pieces > 0)
        {
            findings.Add(new(
                FindingCodes.FragmentsDropped,
                Severity.Note,
                FormattableString.Invariant($"{dropped.Pieces} loose specks ({dropped.PiecesMm3:F2} mm³ together) were left out."),
                "Nothing to do; a smaller minPieceMm3 keeps them."));
        }

        if (dropped.Voids > 0)
        {
            findings.Add(new(
                FindingCodes.CavitiesFilled,
                Severity.Note,
                FormattableString.Invariant($"{dropped.Voids} voids inside the wall ({dropped.VoidsMm3:F2} mm³ together) were filled."),
                "Nothing to do; a smaller minPieceMm3 keeps them."));
        }

        return findings;
    }
}
