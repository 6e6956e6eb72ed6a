using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Scenes;

/// <summary>A named point of a scene, LPS mm.</summary>
public sealed record Landmark(string Name, Vec3 PositionMm);
