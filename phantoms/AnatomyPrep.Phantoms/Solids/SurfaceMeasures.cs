namespace AnatomyPrep.Phantoms.Solids;

/// <summary>What is known in closed form of a solid's boundary.</summary>
/// <param name="VolumeMm3">Volume enclosed.</param>
/// <param name="AreaMm2">Area of all boundary surfaces together.</param>
/// <param name="Euler">Euler characteristic of all boundary surfaces together: 2 a sphere, 0 a torus, 4 a shell.</param>
/// <param name="Bodies">Connected pieces of the solid itself.</param>
public readonly record struct SurfaceMeasures(double VolumeMm3, double AreaMm2, int Euler, int Bodies);
