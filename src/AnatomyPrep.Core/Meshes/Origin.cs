namespace AnatomyPrep.Core.Meshes;

/// <summary>Where a triangle comes from. Kept through every step, exported as colour and as share of area.</summary>
public enum Origin : byte
{
    /// <summary>Placed by image values or by a scanner.</summary>
    Measured = 0,

    /// <summary>Closes a place where nothing was measured.</summary>
    Filled = 1,

    /// <summary>A cut made by us or by the border of the images.</summary>
    Cut = 2,

    /// <summary>Inner or outer wall of a shell.</summary>
    Offset = 3,

    /// <summary>Not anatomy: text, base, peg, support.</summary>
    Added = 4,
}
