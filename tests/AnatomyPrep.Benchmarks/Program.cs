using AnatomyPrep.Benchmarks.Ratios;
using AnatomyPrep.Benchmarks.Workers;
using BenchmarkDotNet.Running;

// ratios WORKDIR [SIZE] [REPEATS]   every stage beside the reference libraries, in one run; prints and writes the table
// stage NAME SIDECAR REPEATS        one stage of ours in this process, one JSON line (ratios starts it)
// print MESH REPEATS               stages of making ready for the printer on a mesh file
// support MESH HEIGHTMM            support of the chosen orientation beside that of 500 random ones, the mesh scaled to a height
// scale ALONE PROCESSOR CORES MB WRITER  models an hour on 1, 4 and 16 workers from what one job takes (seconds, seconds, cores, MB, seconds)
// anything else                     BenchmarkDotNet on the kernels
return args switch
{
    ["ratios", ..] => RatioTable.Run(args[1..]),
    ["stage", var name, var sidecar, var repeats] => OwnStage.Run(name, sidecar, int.Parse(repeats, System.Globalization.CultureInfo.InvariantCulture)),
    ["print", var mesh, var repeats] => PrintStages.Run(mesh, repeats),
    ["support", var mesh, var height] => PrintStages.Support(mesh, double.Parse(height, System.Globalization.CultureInfo.InvariantCulture)),
    ["scale", .. var cost] when cost.Length == 5 => ScaleTable.Run(Array.ConvertAll(cost, x => double.Parse(x, System.Globalization.CultureInfo.InvariantCulture))),
    _ => RunKernels(args),
};

static int RunKernels(string[] args)
{
    BenchmarkSwitcher.FromAssembly(typeof(RatioTable).Assembly).Run(args);
    return 0;
}
