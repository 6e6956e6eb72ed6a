namespace AnatomyPrep.Service.Hosting;

/// <summary>A plan or process profile that comes with the program.</summary>
/// <param name="Text">YAML.</param>
/// <param name="CanScale">Of a plan: a request may ask for another size than life.</param>
public sealed record CatalogueText(string Name, string Description, string Text, bool CanScale = true);
