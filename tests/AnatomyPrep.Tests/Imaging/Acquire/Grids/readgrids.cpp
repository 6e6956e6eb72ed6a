// What an outside library makes of volume files: for every file on the command line the place (LPS, mm) and value of each
// sample, one a line, after the file's number. Built by the tests that use it, with ITK (Debian package libinsighttoolkit5-dev).
#include "itkImageFileReader.h"
#include "itkMetaImageIO.h"
#include "itkNiftiImageIO.h"
#include "itkNrrdImageIO.h"
#include <cstdio>
#include <string>

using Image = itk::Image<double, 3>;

static bool endsWith(const std::string& name, const std::string& ending)
{
    return name.size() >= ending.size() && name.compare(name.size() - ending.size(), ending.size(), ending) == 0;
}

static itk::ImageIOBase::Pointer ioFor(const std::string& name)
{
    if (endsWith(name, ".nrrd") || endsWith(name, ".nhdr"))
        return itk::NrrdImageIO::New().GetPointer();
    if (endsWith(name, ".mhd") || endsWith(name, ".mha"))
        return itk::MetaImageIO::New().GetPointer();
    return itk::NiftiImageIO::New().GetPointer();
}

int main(int count, char** names)
{
    for (int n = 1; n < count; n++)
    {
        try
        {
            auto reader = itk::ImageFileReader<Image>::New();
            reader->SetImageIO(ioFor(names[n]));
            reader->SetFileName(names[n]);
            reader->Update();
            auto image = reader->GetOutput();
            auto size = image->GetLargestPossibleRegion().GetSize();
            for (size_t k = 0; k < size[2]; k++)
                for (size_t j = 0; j < size[1]; j++)
                    for (size_t i = 0; i < size[0]; i++)
                    {
                        Image::IndexType at = {{(long)i, (long)j, (long)k}};
                        itk::Point<double, 3> p;
                        image->TransformIndexToPhysicalPoint(at, p);
                        printf("%d %.12g %.12g %.12g %.12g\n", n - 1, p[0], p[1], p[2], image->GetPixel(at));
                    }
        }
        catch (std::exception& e)
        {
            fprintf(stderr, "%s: %s\n", names[n], e.what());
            return 1;
        }
    }

    return 0;
}
