// platter-demo DIRECTORY: writes the demo images. The scenario is invented.
#include <filesystem>
#include <fstream>
#include <iostream>
#include <span>
#include <stdexcept>
#include <string_view>

#include "writers/demo_images.h"

namespace {

void write(const std::filesystem::path& path, std::span<const std::byte> bytes) {
  std::ofstream file(path, std::ios::binary | std::ios::trunc);
  file.write(reinterpret_cast<const char*>(bytes.data()),
             static_cast<std::streamsize>(bytes.size()));
  file.close();
  if (!file) throw std::runtime_error("cannot write " + path.string());
  std::cout << "  " << path.string() << ", " << bytes.size() << " bytes\n";
}

}  // namespace

int main(int count, char** arguments) {
  const std::string_view first = count == 2 ? arguments[1] : "";
  if (first == "--help" || first == "-h") {
    std::cout << "Writes the demo images into a directory, which is made when it is not there.\n"
                 "Use: platter-demo DIRECTORY\n";
    return 0;
  }
  if (first.empty() || first.starts_with('-')) {
    std::cerr << "platter-demo: use: platter-demo DIRECTORY\n";
    return 2;
  }
  try {
    const std::filesystem::path directory = arguments[1];
    std::filesystem::create_directories(directory);
    std::cout << "Demo images of the fictional Gannet Point Computing Museum and its fictional\n"
                 "Corvid 340 workstation (all invented):\n";
    const auto disc = platter::fixtures::demo_install_disc();
    write(directory / "corvidos-install.iso", disc);
    // Cut in the middle, as a copy that broke off.
    write(directory / "corvidos-install-cut.iso", std::span(disc).first(disc.size() / 2 + 700));
    write(directory / "corvid340-system.img", platter::fixtures::demo_system_disk());
  } catch (const std::exception& error) {
    std::cerr << "platter-demo: " << error.what() << '\n';
    return 3;
  }
  return 0;
}
