using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>A corner of a triangle: which vertex, and where.</summary>
internal readonly record struct Corner(int Vertex, Vec3 At);

/// <summary>Whether two triangles meet beyond the vertices they share; exact, see <see cref="TriangleTriangle"/>.</summary>
internal static class CornerContact
{
    public static bool Meet(Corner[] s, Corner[] t)
    {
        // The place of a corner that is not shared follows from those that are: places add up to 3.
        int shared = 0, placeS = 0, placeT = 0;
        for (var i = 0; i < 3; i++)
        {
            for (var j = 0; j < 3; j++)
            {
                if (s[i].Vertex != t[j].Vertex)
                    continue;
                shared++;
                placeS += i;
                placeT += j;
            }
        }

        switch (shared)
        {
            case 0:
                return TriangleTriangle.Classify(s[0].At, s[1].At, s[2].At, t[0].At, t[1].At, t[2].At) != Contact.None;
            case 1:
                return TriangleTriangle.ClassifySharingCorner(
                    s[placeS].At, s[(placeS + 1) % 3].At, s[(placeS + 2) % 3].At, t[(placeT + 1) % 3].At, t[(placeT + 2) % 3].At) != Contact.None;
            case 2:
                int apexS = 3 - placeS, apexT = 3 - placeT;
                return TriangleTriangle.ClassifySharingEdge(s[(apexS + 1) % 3].At, s[(apexS + 2) % 3].At, s[apexS].At, t[apexT].At) != Contact.None;
            default:
                return true;
        }
    }
}
