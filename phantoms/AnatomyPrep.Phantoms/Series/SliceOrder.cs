namespace AnatomyPrep.Phantoms.Series;

/// <summary>How something is numbered along a stack of slices.</summary>
public enum SliceOrder
{
    /// <summary>Rising with the slice normal.</summary>
    AlongNormal,

    /// <summary>Falling with the slice normal.</summary>
    AgainstNormal,

    /// <summary>In an order that follows from the seed only.</summary>
    Scrambled,
}
