namespace AnatomyPrep.Meshing.Formats;

/// <summary>What a 3MF file says about its model. Goes into the file as it is: no personal data.</summary>
/// <param name="Own">Further names and values, in this order, written as ap:NAME; names are letters, digits, '.', '-' and '_'.</param>
/// <param name="IsSolid">False for an open surface, which 3MF forbids for the object type "model".</param>
/// <param name="IsAssembly">Several solids belong together and stay where they are to each other: components of one object. Without it each can be moved alone.</param>
/// <param name="ThumbnailPng">A small picture of the model; null for none.</param>
public sealed record ThreeMfDescription(
    string Title,
    string Designer,
    string Description,
    string Application,
    IReadOnlyList<KeyValuePair<string, string>> Own,
    bool IsSolid = true,
    bool IsAssembly = false,
    byte[]? ThumbnailPng = null);
