using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A triangle by its corners: which vertices, and where they are.</summary>
internal readonly record struct Corners(int A, int B, int C, Vec3 PA, Vec3 PB, Vec3 PC)
{
    public bool Repeats => A == B || B == C || C == A;

    public Box3 Bounds => Box3.Empty.Including(PA).Including(PB).Including(PC);

    public int Vertex(int place) => place switch { 0 => A, 1 => B, _ => C };

    public Vec3 At(int place) => place switch { 0 => PA, 1 => PB, _ => PC };
}

/// <summary>Whether two triangles meet beyond the vertices they share; exact, see <see cref="TriangleTriangle"/>.</summary>
internal static class CornerContact
{
    public static bool Meet(in Corners s, in Corners t)
    {
        if (s.Repeats || t.Repeats)
            return false;

        // The place of a corner that is not shared follows from those that are: places add up to 3.
        int shared = 0, placeS = 0, placeT = 0;
        for (var i = 0; i < 3; i++)
        {
            for (var j = 0; j < 3; j++)
            {
                if (s.Vertex(i) != t.Vertex(j))
                    continue;
                shared++;
                placeS += i;
                placeT += j;
            }
        }

        switch (shared)
        {
            case 0:
                return TriangleTriangle.Classify(s.PA, s.PB, s.PC, t.PA, t.PB, t.PC) != Contact.None;
            case 1:
                return TriangleTriangle.ClassifySharingCorner(
                    s.At(placeS), s.At((placeS + 1) % 3), s.At((placeS + 2) % 3), t.At((placeT + 1) % 3), t.At((placeT + 2) % 3)) != Contact.None;
            case 2:
                int apexS = 3 - placeS, apexT = 3 - placeT;
                return TriangleTriangle.ClassifySharingEdge(s.At((apexS + 1) % 3), s.At((apexS + 2) % 3), s.At(apexS), t.At(apexT)) != Contact.None;
            default:
                return !ExactPredicates.Collinear(s.PA, s.PB, s.PC);
        }
    }
}
