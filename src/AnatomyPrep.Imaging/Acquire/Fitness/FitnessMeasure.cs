using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Imaging.Acquire.Fitness;

/// <summary>One figure that says how fit images are for a model, with what it is held to.</summary>
/// <param name="Code">Of the finding it gives beyond the limit, from <see cref="FindingCodes"/>.</param>
/// <param name="Unit">"" for a ratio.</param>
/// <param name="LimitSource">Where the limit comes from.</param>
/// <param name="Holds">The value keeps to the limit.</param>
public sealed record FitnessMeasure(string Code, string Name, double Value, string Unit, double Limit, string LimitSource, bool Holds);

/// <summary>What is known of images besides their samples.</summary>
/// <param name="CoarsestMm">Thickness or step of the slices, whichever is more.</param>
/// <param name="ContrastTagged">The file says that contrast agent was given.</param>
/// <param name="Anatomy">What the model is to show, in the words of who asked; null where nobody said.</param>
public sealed record FitnessContext(double CoarsestMm, string? Kernel, bool ContrastTagged, string? Anatomy);

/// <param name="Findings">What lies beyond its limit.</param>
public sealed record FitnessReport(IReadOnlyList<FitnessMeasure> Measures, IReadOnlyList<Finding> Findings);
