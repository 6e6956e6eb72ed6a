using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>What each triangle of an extracted shell is: part of which wall, and of what origin.</summary>
internal static class ShellLabels
{
    /// <summary>The wall each triangle belongs to: low, high, or rim for what joins them.</summary>
    /// <param name="edgeOf">From <see cref="RimSnap"/>.</param>
    public static Bound[] Walls(SparseSurface surface, Bound[] edgeOf)
    {
        var walls = new Bound[surface.Triangles.Length / 3];
        for (var t = 0; t < walls.Length; t++)
        {
            var wall = Bound.Rim;
            var mixed = false;
            for (var c = 3 * t; c < (3 * t) + 3; c++)
            {
                var v = surface.Triangles[c];
                var own = surface.Bounds[v];
                if (own == Bound.Rim)
                    continue;
                mixed |= wall != Bound.Rim && wall != own;
                wall = own;
            }

            for (var c = 3 * t; c < (3 * t) + 3; c++)
            {
                var v = surface.Triangles[c];
                mixed |= surface.Bounds[v] == Bound.Rim && !(surface.Moved[v] && edgeOf[v] == wall);
            }

            walls[t] = mixed ? Bound.Rim : wall;
        }

        return walls;
    }

    /// <summary>On the sheet's own side the origin of the sheet where most corners lie; everything else is offset.</summary>
    public static Origin[] Origins(SparseSurface surface, BandField field, Bound[] walls, Mesh sheet)
    {
        var origins = new Origin[walls.Length];
        for (var t = 0; t < origins.Length; t++)
        {
            if (!field.IsOnSurface(walls[t]))
            {
                origins[t] = Origin.Offset;
                continue;
            }

            Origin a = Of(3 * t), b = Of((3 * t) + 1), c = Of((3 * t) + 2);
            origins[t] = b == c ? b : a;
        }

        return origins;

        Origin Of(int corner) => sheet.Origins[surface.NearTriangle[surface.Triangles[corner]]];
    }
}
