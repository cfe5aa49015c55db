// Writing a file so that under its name there is nothing, the old file, or the whole new one.
#pragma once

#include <string>
#include <string_view>

namespace platter {

/// Writes to a temporary name beside `path` and renames it when complete. Throws IoError.
void write_whole_file(const std::string& path, std::string_view content);

}  // namespace platter
