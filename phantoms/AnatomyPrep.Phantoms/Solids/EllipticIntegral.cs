namespace AnatomyPrep.Phantoms.Solids;

/// <summary>Carlson's symmetric elliptic integral of the second kind, which measures ellipsoids without case distinctions.</summary>
/// <remarks>
/// Method: B. C. Carlson, "Numerical computation of real or complex elliptic integrals", Numerical Algorithms 10
/// (1995) 13-26: duplication until the arguments agree, then the fifth-order series. R_G(x, y, z) is the mean of
/// sqrt(x u² + y v² + z w²) over the unit sphere (DLMF 19.16.3), hence area and mean curvature of an ellipsoid.
/// Error: below 1e-13 relative for arguments within a factor of 1e6 of each other.
/// </remarks>
internal static class EllipticIntegral
{
    /// <summary>R_G for three positive arguments.</summary>
    internal static double Rg(double x, double y, double z)
    {
        // The middle argument in the place of z keeps both terms of one sign apart, without cancellation.
        Span<double> s = [x, y, z];
        s.Sort();
        var (low, middle, high) = (s[0], s[1], s[2]);
        var product = (low - middle) * (high - middle);
        return ((middle * Rf(low, high, middle)) - (product * Rd(low, high, middle) / 3) + Math.Sqrt(low * high / middle)) / 2;
    }

    private static double Rf(double x, double y, double z)
    {
        while (true)
        {
            var mean = (x + y + z) / 3;
            double dx = 1 - (x / mean), dy = 1 - (y / mean), dz = 1 - (z / mean);
            if (Math.Max(Math.Abs(dx), Math.Max(Math.Abs(dy), Math.Abs(dz))) < 2e-3)
            {
                var e2 = (dx * dy) - (dz * dz);
                var e3 = dx * dy * dz;
                return (1 + (((e2 / 24) - 0.1 - (e3 * 3 / 44)) * e2) + (e3 / 14)) / Math.Sqrt(mean);
            }

            var lambda = Lambda(x, y, z);
            (x, y, z) = ((x + lambda) / 4, (y + lambda) / 4, (z + lambda) / 4);
        }
    }

    private static double Rd(double x, double y, double z)
    {
        double sum = 0, scale = 1;
        while (true)
        {
            var mean = (x + y + (3 * z)) / 5;
            double dx = 1 - (x / mean), dy = 1 - (y / mean), dz = 1 - (z / mean);
            if (Math.Max(Math.Abs(dx), Math.Max(Math.Abs(dy), Math.Abs(dz))) < 1e-3)
            {
                var a = dx * dy;
                var b = dz * dz;
                var c = a - b;
                var d = a - (6 * b);
                var e = d + c + c;
                var series = 1 + (d * ((-3.0 / 14) + (9.0 / 88 * d) - (4.5 / 26 * dz * e)))
                    + (dz * ((e / 6) + (dz * ((-9.0 / 22 * c) + (dz * 3.0 / 26 * a)))));
                return (3 * sum) + (scale * series / (mean * Math.Sqrt(mean)));
            }

            var lambda = Lambda(x, y, z);
            sum += scale / (Math.Sqrt(z) * (z + lambda));
            scale /= 4;
            (x, y, z) = ((x + lambda) / 4, (y + lambda) / 4, (z + lambda) / 4);
        }
    }

    private static double Lambda(double x, double y, double z)
    {
        double sx = Math.Sqrt(x), sy = Math.Sqrt(y), sz = Math.Sqrt(z);
        return (sx * sy) + (sy * sz) + (sz * sx);
    }
}
