#include "plan/receipt.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <ctime>
#include <fstream>
#include <iterator>
#include <system_error>

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "core/charset.h"
#include "core/descriptor.h"

namespace platter::plan {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::string_view kSchema = "platter.receipt/1";

[[noreturn]] void fail(const std::string& path, std::uint64_t offset = 0) {
  const int error = errno;
  throw IoError(path, offset, 0, std::generic_category().message(error));
}

std::string folder_of(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  if (slash == std::string::npos) return ".";
  return slash == 0 ? "/" : path.substr(0, slash);
}

// A new or removed name lasts only once its folder has reached the medium.
void sync_folder(const std::string& path) {
  const std::string folder = folder_of(path);
  const Descriptor descriptor(open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (descriptor.get() < 0) fail(folder);
  // Some filesystems cannot; then there is nothing to wait for.
  if (fsync(descriptor.get()) != 0 && errno != EINVAL && errno != EROFS) fail(folder);
}

void write_all(const std::string& path, std::string_view text) {
  const Descriptor file(open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666));
  if (file.get() < 0) fail(path);
  for (std::size_t done = 0; done < text.size();) {
    const ssize_t put = write(file.get(), text.data() + done, text.size() - done);
    if (put < 0 && errno != EINTR) fail(path, done);
    if (put > 0) done += static_cast<std::size_t>(put);
  }
  if (fsync(file.get()) != 0) fail(path);
}

std::string plain(const std::string& bytes) {
  return decode_text(bytes, Charset::ascii).utf8;
}

std::string iso_time(std::int64_t seconds) {
  return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(static_cast<std::time_t>(seconds)));
}

std::int64_t seconds_of(const std::string& iso) {
  std::tm parts{};
  if (strptime(iso.c_str(), "%Y-%m-%dT%H:%M:%SZ", &parts) == nullptr) return 0;
  return timegm(&parts);
}

Receipt receipt_of(const Json& json) {
  Receipt receipt;
  const Json& region = json.at("region");
  receipt.region = region.at("name").get<std::string>();
  receipt.place = {region.at("start").get<std::uint64_t>(),
                   region.at("bytes").get<std::uint64_t>()};
  receipt.card = json.at("card").at("path").get<std::string>();
  const Json& image = json.at("image");
  receipt.image = image.at("path").get<std::string>();
  receipt.image_bytes = image.at("bytes").get<std::uint64_t>();
  receipt.image_stamp = image.value("stamp", "");
  receipt.sha256 = json.value("sha256", "");
  receipt.zero_bytes = json.value("zero_bytes", std::uint64_t{0});
  receipt.tool = json.value("tool", "");
  receipt.time = seconds_of(json.value("time", ""));
  return receipt;
}

}  // namespace

std::string receipt_path(std::string_view plan_path, std::string_view region) {
  std::string_view stem = plan_path;
  if (stem.ends_with(".toml")) stem.remove_suffix(5);
  std::string path(stem);
  path += '.';
  for (const char c : region) {
    const auto byte = static_cast<unsigned char>(c);
    const bool safe = (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') ||
                      c == '-' || c == '_';
    if (c == ' ') {
      path += '+';  // '+' itself is escaped, so this stays unambiguous
    } else if (safe) {
      path += c;
    } else {
      path += fmt::format("%{:02X}", byte);
    }
  }
  return path + ".receipt.json";
}

std::string image_stamp(const std::string& path) {
  struct stat status {};
  if (stat(path.c_str(), &status) != 0 || !S_ISREG(status.st_mode)) return {};
  return fmt::format("{:x}-{:x}-{:x}-{:x}.{:x}-{:x}.{:x}", status.st_dev, status.st_ino,
                     status.st_size, status.st_mtim.tv_sec, status.st_mtim.tv_nsec,
                     status.st_ctim.tv_sec, status.st_ctim.tv_nsec);
}

std::string receipt_text(const Receipt& receipt) {
  Json json;
  json["schema"] = kSchema;
  json["region"] = {{"name", plain(receipt.region)},
                    {"start", receipt.place.start},
                    {"bytes", receipt.place.bytes},
                    {"first_block", receipt.place.start / kBlockBytes},
                    {"last_block", (receipt.place.start + receipt.place.bytes - 1) / kBlockBytes}};
  json["card"] = {{"path", plain(receipt.card)}};
  json["image"] = {{"path", plain(receipt.image)}, {"bytes", receipt.image_bytes}};
  if (!receipt.image_stamp.empty()) json["image"]["stamp"] = receipt.image_stamp;
  if (!receipt.sha256.empty()) json["sha256"] = receipt.sha256;
  if (receipt.zero_bytes > 0) json["zero_bytes"] = receipt.zero_bytes;
  json["verified"] = true;
  json["tool"] = receipt.tool;
  json["time"] = iso_time(receipt.time);
  return json.dump(2) + "\n";
}

Parsed<Receipt> read_receipt(std::string_view text) {
  try {
    const Json json = Json::parse(text);
    if (json.value("schema", "") != kSchema) {
      return {{}, fmt::format("it has no schema {}", kSchema)};
    }
    return {receipt_of(json), {}};
  } catch (const Json::exception& error) {
    return {{}, printable(error.what())};
  }
}

void store_receipt(const std::string& path, const Receipt& receipt) {
  const std::string part = path + ".part";
  try {
    write_all(part, receipt_text(receipt));
    if (rename(part.c_str(), path.c_str()) != 0) fail(path);
  } catch (...) {
    unlink(part.c_str());
    throw;
  }
  sync_folder(path);
}

std::optional<Receipt> load_receipt(const std::string& path) {
  constexpr std::streamoff kMost = std::streamoff{1} << 20;
  struct stat status {};
  if (stat(path.c_str(), &status) != 0) {
    if (errno == ENOENT) return std::nullopt;
    fail(path);
  }
  if (status.st_size > kMost) throw IoError(path, 0, 0, "is too long to be a receipt");
  std::ifstream in(path, std::ios::binary);
  if (!in) fail(path);
  const std::string text(std::istreambuf_iterator<char>(in), {});
  auto receipt = read_receipt(text);
  if (!receipt) throw IoError(path, 0, 0, "is no receipt: " + receipt.error);
  return std::move(*receipt.value);
}

void remove_receipt(const std::string& path) {
  if (unlink(path.c_str()) != 0) {
    if (errno == ENOENT) return;
    fail(path);
  }
  sync_folder(path);
}

}  // namespace platter::plan
