using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Imaging.Segment;

/// <summary>A HU window for a tissue: where its numbers come from, and what else lies in it.</summary>
/// <param name="Reason">Why these levels, with their source.</param>
/// <param name="Beware">What is taken along or lost.</param>
public sealed record TissueWindow(string Name, HuWindow Window, string Reason, string Beware)
{
    /// <summary>All windows by name, ordinal order. docs/technician/thresholds.md holds the same table.</summary>
    public static IReadOnlyList<TissueWindow> All { get; } =
    [
        new("air", new(short.MinValue, -600), "planning of the orbit takes air at or below -600 HU (a published thesis)", "the surface lies 0.12 mm within the true air boundary at a blur of 1 mm (own edge model: -480 is the middle)"),
        new("airway", new(short.MinValue, -480), "the middle between air (-1000) and soft tissue (+40), where a blurred edge stays in its place (own edge model)", "outer air and lung are in it too: use inner-air to part them"),
        new("bone", new(300, short.MaxValue), "upper end of trabecular bone (100 to 300 HU, from memory), between the published 150 (a general tutorial) and 400 (planning of the orbit)", "a 4 mm wall comes out 0.6 mm too thick at a blur of 1 mm, plates of 0.3 mm are lost (own edge model); iodine contrast (100 to 500 HU) is in it too"),
        new("bone-cortical", new(620, short.MaxValue), "the middle between soft tissue (+40) and cortical bone (1200), where a blurred edge stays in its place (own edge model)", "plates of 0.5 mm are lost at a blur of 1 mm"),
        new("bone-thin", new(150, short.MaxValue), "a general tutorial takes bone from about 150 HU", "a 4 mm wall comes out 1.1 mm too thick at a blur of 1 mm (own edge model); iodine contrast and fresh clot edges are in it too"),
        new("contrast", new(100, short.MaxValue), "iodine contrast has 100 to 500 HU (a teaching page)", "bone is in it too: grow from seeds, or split; lumen finds the level of the vessel at hand"),
        new("fat", new(-190, -30), "a window for segmenting fat (a manual page)", "every edge between air and soft tissue passes through it"),
        new("metal", new(3000, short.MaxValue), "12-bit images end at 3071 HU (a teaching page); 3000 is our own limit below it", "enamel reaches it too"),
        new("skin", new(-480, short.MaxValue), "the middle between air (-1000) and soft tissue (+40), where a blurred edge stays in its place (own edge model)", "table, headrest, pillows and clothes are in it too: use remove-support"),
    ];
}
