using AnatomyPrep.Benchmarks.Ratios;
using AnatomyPrep.Benchmarks.Workers;
using AnatomyPrep.Imaging.Acquire;
using BenchmarkDotNet.Running;

// ratios WORKDIR [SIZE] [REPEATS]   every stage beside the reference libraries, in one run; prints and writes the table
// stage NAME SIDECAR REPEATS        one stage of ours in this process, one JSON line (ratios starts it)
// print MESH REPEATS               stages of making ready for the printer on a mesh file
// whole SOURCE PLAN                a whole prepare in this process, stage by stage
// huge 2048x2048x2000              a volume in a mapped file through threshold, largest piece and surface
// growth FOLDER SIDE TRIANGLES     cost of stages up to volumes of that side and meshes of that many triangles, with fitted exponents and two pictures
// support MESH HEIGHTMM            support of the chosen orientation beside that of 500 random ones, the mesh scaled to a height
// reader-child                      the reader of untrusted images, which a whole run starts as a child
// scale ALONE PROCESSOR CORES MB WRITER  models an hour on 1, 4 and 16 workers from what one job takes (seconds, seconds, cores, MB, seconds)
// anything else                     BenchmarkDotNet on the kernels
return args switch
{
    ["ratios", ..] => RatioTable.Run(args[1..]),
    ["stage", var name, var sidecar, var repeats] => OwnStage.Run(name, sidecar, Number(repeats)),
    ["print", var mesh, var repeats] => PrintStages.Run(mesh, repeats),
    ["whole", var source, var plan] => WholeRun.Run(source, plan),
    ["reader-child"] => ReaderChild.Run(Console.OpenStandardInput(), Console.OpenStandardOutput()),
    ["huge", var size] => HugeVolume.Run(size),
    ["growth", var folder, var side, var triangles] => Growth.Run(folder, Number(side), Number(triangles)),
    ["support", var mesh, var height] => PrintStages.Support(mesh, Real(height)),
    ["scale", .. var cost] when cost.Length == 5 => ScaleTable.Run(Array.ConvertAll(cost, Real)),
    _ => RunKernels(args),
};

static int Number(string text) => int.Parse(text, System.Globalization.CultureInfo.InvariantCulture);

static double Real(string text) => double.Parse(text, System.Globalization.CultureInfo.InvariantCulture);

static int RunKernels(string[] args)
{
    BenchmarkSwitcher.FromAssembly(typeof(RatioTable).Assembly).Run(args);
    return 0;
}
