namespace AnatomyPrep.Meshing.Spatial;

/// <summary>How two triangles meet, beyond the corners and edges they share by index.</summary>
public enum Contact : byte
{
    /// <summary>Not at all, or exactly in the shared corner or edge.</summary>
    None = 0,

    /// <summary>In a point or a piece of line, but no inner point of one is an inner point of the other.</summary>
    Touching = 1,

    /// <summary>Inner points in common, in different planes: one passes through the other.</summary>
    Crossing = 2,

    /// <summary>Inner points in common, in the same plane: they lie on each other.</summary>
    Overlap = 3,
}
