namespace AnatomyPrep.Imaging.Acquire.Fitness;

/// <summary>The smallest detail that a model of a structure is made for, and whether it is bone.</summary>
/// <remarks>Sizes are common practice, no source: about the thinnest wall or plate that the purpose needs.</remarks>
/// <param name="Word">Found in what was asked for.</param>
internal sealed record StructureSize(string Word, double DetailMm, bool Bone)
{
    private static readonly StructureSize[] s_all =
    [
        new("orbit", 0.5, true),
        new("sinus", 1, true),
        new("maxilla", 1, true),
        new("midface", 1, true),
        new("mandible", 1, true),
        new("jaw", 1, true),
        new("tooth", 1, true),
        new("teeth", 1, true),
        new("skull", 2, true),
        new("cranium", 2, true),
        new("spine", 1, true),
        new("vertebra", 1, true),
        new("hand", 1, true),
        new("wrist", 1, true),
        new("foot", 1, true),
        new("ankle", 1, true),
        new("rib", 1.5, true),
        new("thorax", 1.5, true),
        new("pelvis", 2, true),
        new("femur", 2, true),
        new("tibia", 2, true),
        new("humerus", 2, true),
        new("shoulder", 2, true),
        new("bone", 2, true),
        new("aorta", 1.5, false),
        new("artery", 1, false),
        new("vessel", 1, false),
        new("airway", 1, false),
        new("trachea", 1, false),
        new("ear", 1.5, false),
        new("skin", 2, false),
        new("face", 2, false),
        new("head", 2, false),
    ];

    /// <summary>Null where nothing was said, or something that is not in the list.</summary>
    public static StructureSize? Of(string? anatomy) => anatomy is null
        ? null
        : s_all.FirstOrDefault(s => anatomy.Split([' ', '-', ',', '_', '/'], StringSplitOptions.RemoveEmptyEntries).Any(w => w.StartsWith(s.Word, StringComparison.OrdinalIgnoreCase)));
}
