using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Phantoms.Scenes;

namespace AnatomyPrep.Phantoms.Catalogue;

/// <summary>A ready scene and how it is usually taken.</summary>
/// <param name="SpacingMm">Column, row and slice spacing.</param>
internal sealed record CatalogueEntry(Func<Scene> Scene, Vec3 SpacingMm, double NoiseSigmaHu);
