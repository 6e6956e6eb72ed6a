using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>The air around a body, found from the sides of the images.</summary>
/// <remarks>
/// Outer air hangs together with the first or last column or row of the images; what only reaches the first or last slice is a
/// windpipe or a bowel that the scan cut. With a seal, openings narrower than twice its radius are closed: the air is thinned
/// by the radius, what then still hangs together with a side stays, and it grows back by twice the radius within the air, so
/// that folds of the skin stay open to that depth. Cost: two dilations and two labellings with a seal, one labelling without.
/// </remarks>
internal static class BodyHull
{
    public static Region OuterAir(Region air, IndexToPatient map, double sealMm, RunContext run)
    {
        if (sealMm <= 0)
            return AtSides(air, map, run);
        using var thin = Morphology.Erode(air, map, sealMm, run);
        using var outer = AtSides(thin, map, run);
        return Grow.Spread(outer, air, map, 2 * sealMm, run);
    }

    private static Region AtSides(Region air, IndexToPatient map, RunContext run)
    {
        using var pieces = Components.Find(air, map, run, Connectivity.FacesAndEdges);
        var atSide = new bool[pieces.Pieces.Count];
        for (var k = 0; k < air.Slices; k++)
        {
            for (var j = 0; j < air.Rows; j++)
            {
                Mark(0, j, k);
                Mark(air.Columns - 1, j, k);
            }

            for (var i = 0; i < air.Columns; i++)
            {
                Mark(i, 0, k);
                Mark(i, air.Rows - 1, k);
            }
        }

        return pieces.Keep(p => atSide[p], run);

        void Mark(int i, int j, int k)
        {
            if (pieces.PieceAt(i, j, k) is var piece and >= 0)
                atSide[piece] = true;
        }
    }
}
