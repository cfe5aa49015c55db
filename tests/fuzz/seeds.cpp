// Writes first inputs for every fuzz target: FOLDER/TARGET/NAME. They are made from the specimens
// of the hostile tests, the text fixtures and the writers, so nothing of the kind is kept in the
// repository.
//
//   fuzz_seeds FOLDER
#include "fuzz/seeds.h"

#include <exception>
#include <filesystem>
#include <fstream>
#include <iostream>

namespace platter::fuzz {
namespace {

constexpr std::size_t kLargest = std::size_t{512} * 1024;

std::string file_name(const std::string& title) {
  std::string name;
  for (const char c : title) {
    const bool plain = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
    name += plain ? c : '_';
  }
  return name;
}

}  // namespace

void SeedWriter::add(const std::string& target, const std::string& title,
                     std::span<const std::byte> input) {
  if (input.empty() || input.size() > kLargest) return;
  const std::string folder = folder_ + "/" + target;
  std::filesystem::create_directories(folder);
  // Different seeds may have one title.
  const std::string path = folder + "/" + std::to_string(count_++) + "-" + file_name(title);
  std::ofstream file(path, std::ios::binary);
  file.write(reinterpret_cast<const char*>(input.data()),
             static_cast<std::streamsize>(input.size()));
  if (!file.flush()) throw std::runtime_error("cannot write " + path);
}

void SeedWriter::add_text(const std::string& target, const std::string& title,
                          std::string_view text) {
  add(target, title, std::as_bytes(std::span(text)));
}

void SeedWriter::add_image(const std::string& target, const std::string& title,
                           std::span<const std::byte> image,
                           const std::vector<std::uint8_t>& choices) {
  std::size_t zeros = 0;
  while (
      zeros < 255 && image.size() >= kZeroUnit &&
      std::ranges::all_of(image.last(kZeroUnit), [](std::byte b) { return b == std::byte{0}; })) {
    image = image.first(image.size() - kZeroUnit);
    ++zeros;
  }
  std::vector<std::byte> input(image.begin(), image.end());
  input.push_back(static_cast<std::byte>(zeros));
  for (const std::uint8_t choice : choices)
    input.push_back(static_cast<std::byte>(choice));
  add(target, title, input);
}

}  // namespace platter::fuzz

int main(int count, char** arguments) {
  if (count != 2) {
    std::cerr << "usage: fuzz_seeds FOLDER\n";
    return 2;
  }
  try {
    platter::fuzz::SeedWriter writer(arguments[1]);
    platter::fuzz::write_image_seeds(writer);
    platter::fuzz::write_part_seeds(writer);
    platter::fuzz::write_text_seeds(writer);
    std::cout << writer.count() << " inputs below " << arguments[1] << "\n";
  } catch (const std::exception& error) {
    std::cerr << "fuzz_seeds: " << error.what() << "\n";
    return 1;
  }
  return 0;
}
